//! What a regression has to supply: the whole contract between a model and the
//! solver.

/// A model `y = f(x; p)` with its derivatives.
///
/// `x` has [`inputs`](Regression::inputs) entries, `p` and `by_parameter` have
/// [`parameters`](Regression::parameters), `by_input` has `inputs`.
pub trait Regression {
    /// Number of parameters, at most [`MAX_PARAMETERS`](super::MAX_PARAMETERS).
    fn parameters(&self) -> usize;

    /// Number of inputs, at most [`MAX_INPUTS`].
    fn inputs(&self) -> usize;

    /// The value at point number `point` whose inputs are `x`, with its
    /// derivatives by each parameter and each input. `point` lets a model keep
    /// exactly known quantities of its own beside the noisy inputs.
    fn evaluate(
        &self,
        point: usize,
        x: &[f64],
        p: &[f64],
        by_parameter: &mut [f64],
        by_input: &mut [f64],
    ) -> f64;
}

/// Most inputs a regression may have.
pub const MAX_INPUTS: usize = 3;

/// The data of a regression: n points with m inputs each.
#[derive(Debug, Clone, Copy)]
pub struct Points<'a> {
    /// Observed outputs; n values.
    pub y: &'a [f64],
    /// Standard uncertainty of each output, positive; n values.
    pub u_y: &'a [f64],
    /// Observed inputs, point after point; n x m values.
    pub x: &'a [f64],
    /// Standard uncertainty of each input, zero where it is exact; n x m values.
    pub u_x: &'a [f64],
}
