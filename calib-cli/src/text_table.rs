//! Plain-text tables for the terminal: aligned columns, ASCII rules.

use std::fmt;

/// Where the cells of a column stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers, so that equal decimals stand below one another.
    Right,
}

/// A column's head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    title: &'static str,
    unit: &'static str,
    align: Align,
}

impl Column {
    /// A column of words.
    pub const fn words(title: &'static str) -> Self {
        Self {
            title,
            unit: "",
            align: Align::Left,
        }
    }

    /// A column of numbers in `unit`; a pure number has none.
    pub const fn numbers(title: &'static str, unit: &'static str) -> Self {
        Self {
            title,
            unit,
            align: Align::Right,
        }
    }
}

/// A table. `Display` gives its lines, without trailing blanks, each ended by a
/// newline; units stand in a line of their own below the titles.
#[derive(Debug, Clone)]
pub struct TextTable<const COLUMNS: usize> {
    columns: [Column; COLUMNS],
    rows: Vec<[String; COLUMNS]>,
}

impl<const COLUMNS: usize> TextTable<COLUMNS> {
    /// A table without rows.
    pub fn new(columns: [Column; COLUMNS]) -> Self {
        Self {
            columns,
            rows: Vec::new(),
        }
    }

    /// Adds a row, a cell for each column.
    pub fn push(&mut self, cells: [String; COLUMNS]) {
        self.rows.push(cells);
    }

    fn line(
        &self,
        f: &mut fmt::Formatter<'_>,
        widths: &[usize; COLUMNS],
        cells: [&str; COLUMNS],
    ) -> fmt::Result {
        let mut line = String::new();
        for ((cell, width), column) in cells.iter().zip(widths).zip(&self.columns) {
            if !line.is_empty() {
                line.push_str("  ");
            }
            match column.align {
                Align::Left => line.push_str(&format!("{cell:<width$}")),
                Align::Right => line.push_str(&format!("{cell:>width$}")),
            }
        }
        writeln!(f, "{}", line.trim_end())
    }
}

impl<const COLUMNS: usize> fmt::Display for TextTable<COLUMNS> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut widths = self.columns.map(|column| {
            column
                .title
                .chars()
                .count()
                .max(column.unit.chars().count())
        });
        for row in &self.rows {
            for (width, cell) in widths.iter_mut().zip(row) {
                *width = (*width).max(cell.chars().count());
            }
        }
        self.line(f, &widths, self.columns.map(|column| column.title))?;
        if self.columns.iter().any(|column| !column.unit.is_empty()) {
            self.line(f, &widths, self.columns.map(|column| column.unit))?;
        }
        let rules = widths.map(|width| "-".repeat(width));
        self.line(f, &widths, rules.each_ref().map(String::as_str))?;
        for row in &self.rows {
            self.line(f, &widths, row.each_ref().map(String::as_str))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stand_left_and_numbers_right_below_their_units() {
        let mut table = TextTable::new([
            Column::words("core"),
            Column::numbers("theta_v", "m3/m3"),
            Column::words("note"),
        ]);
        table.push(["A1".into(), "0.2727".into(), String::new()]);
        table.push(["north-12".into(), "0.05".into(), "stony".into()]);
        assert_eq!(
            table.to_string(),
            "core      theta_v  note\n\
             \x20           m3/m3\n\
             --------  -------  -----\n\
             A1         0.2727\n\
             north-12     0.05  stony\n"
        );
    }

    #[test]
    fn a_table_without_units_has_one_line_of_head() {
        let mut table = TextTable::new([Column::words("probe"), Column::numbers("cores", "")]);
        table.push(["p1".into(), "12".into()]);
        assert_eq!(
            table.to_string(),
            "probe  cores\n-----  -----\np1        12\n"
        );
    }

    #[test]
    fn letters_beyond_ascii_count_once() {
        let mut table = TextTable::new([Column::words("soil"), Column::numbers("n", "")]);
        table.push(["Löss".into(), "1".into()]);
        table.push(["sand".into(), "2".into()]);
        assert_eq!(table.to_string(), "soil  n\n----  -\nLöss  1\nsand  2\n");
    }
}
