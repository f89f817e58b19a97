//! Reading and writing of the workbench's files.
