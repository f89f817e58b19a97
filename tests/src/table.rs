//! Reading the small CSV tables of `reference-data/`.

/// A table: header names and rows of text.
#[derive(Debug, Clone)]
pub struct Table {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// Reads a CSV file of `reference-data/`.
    ///
    /// # Panics
    /// If it is missing or not CSV.
    pub fn of(name: &str) -> Self {
        let text = crate::reference_data(name);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let header = reader
            .headers()
            .expect("a header")
            .iter()
            .map(Into::into)
            .collect();
        let rows = reader
            .records()
            .map(|row| row.expect("a row").iter().map(Into::into).collect())
            .collect();
        Self { header, rows }
    }

    /// A column as text.
    ///
    /// # Panics
    /// If there is no such column.
    pub fn text(&self, column: &str) -> Vec<String> {
        let index = self
            .header
            .iter()
            .position(|name| name == column)
            .unwrap_or_else(|| panic!("no column {column}"));
        self.rows.iter().map(|row| row[index].clone()).collect()
    }

    /// A column of numbers.
    ///
    /// # Panics
    /// If there is no such column, or a cell is not a number.
    pub fn numbers(&self, column: &str) -> Vec<f64> {
        self.text(column)
            .iter()
            .map(|cell| {
                cell.parse()
                    .unwrap_or_else(|_| panic!("{column}: {cell} is not a number"))
            })
            .collect()
    }
}

/// A published or recomputed figure of `stats/expected.csv`.
///
/// # Panics
/// If there is no such row, or the cell is not a number.
pub fn expected(file: &str, quantity: &str, column: &str) -> f64 {
    let table = Table::of("stats/expected.csv");
    let row = table
        .text("file")
        .iter()
        .zip(table.text("quantity"))
        .position(|(f, q)| f == file && q == quantity)
        .unwrap_or_else(|| panic!("{file}: no {quantity}"));
    table.text(column)[row]
        .parse()
        .unwrap_or_else(|_| panic!("{file} {quantity}: {column} is not a number"))
}

/// Checks that two numbers agree to `relative`, showing both if not.
///
/// # Panics
/// If they do not.
#[track_caller]
pub fn agrees(what: &str, got: f64, expected: f64, relative: f64) {
    let off = (got - expected).abs() / expected.abs().max(f64::MIN_POSITIVE);
    assert!(
        off <= relative,
        "{what}\nexpected {expected:.12e}\n     got {got:.12e}\nrelative difference {off:.2e}, allowed {relative:.2e}"
    );
}

/// The rows of one quantity in a file of columns `quantity`, `at` and `value`:
/// pairs of `at` and `value`.
///
/// # Panics
/// If the file has no such columns, or a cell of theirs is not a number.
pub fn dielectric_rows(file: &str, quantity: &str) -> Vec<(f64, f64)> {
    let table = Table::of(file);
    table
        .text("quantity")
        .iter()
        .zip(table.numbers("at").into_iter().zip(table.numbers("value")))
        .filter(|(name, _)| *name == quantity)
        .map(|(_, pair)| pair)
        .collect()
}
