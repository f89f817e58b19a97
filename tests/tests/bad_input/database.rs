//! What can be wrong with a logger's database. (Its tables and columns are tested beside
//! the reader, with databases made there.)

use super::Edit::Whole;
use super::refused;

kinds! {
    "database-missing" a_database_that_is_not_there_is_named by ["capture", ".", "--database=logger.db", "--table=log", "--count-column=adc", "--time-column=at"]:
        Whole("loger.db", b"")
        => "logger.db: is missing",
           "name the database that the logger writes to";
    "database-empty" a_database_without_a_table_is_refused by ["capture", ".", "--database=logger.db", "--table=log", "--count-column=adc", "--time-column=at"]:
        Whole("logger.db", b"")
        => "logger.db: is a database without any table",
           "name the file that the logger writes to";
    "database-of-text" a_text_file_is_no_database by ["capture", ".", "--database=readings.csv", "--table=log", "--count-column=adc", "--time-column=at"]:
        Whole("notes.txt", b"")
        => "readings.csv: is not a SQLite database",
           "name the database that the logger writes to; a text file is followed with --file";
    "database-without-columns" a_database_needs_a_table_and_columns by ["capture", ".", "--database=logger.db", "--table=log"]:
        Whole("logger.db", b"")
        => "logger.db: is a database of which it is not said what to read",
           "add --count-column and --time-column, or say it below [capture] in site.toml";
    "database-not-named" a_table_of_no_database_is_refused by ["capture", ".", "--pipe", "--table=log"]:
        Whole("notes.txt", b"")
        => "command line: --table is about a database, and none is read",
           "add --database, or say it below [capture] in site.toml";
}
