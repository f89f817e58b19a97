//! The arrow against the same equations written out in full.

use super::{Arrow, Row, Rows, Scaling};
use nalgebra::{DMatrix, DVector};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

struct Data {
    rows: Vec<Row>,
    own: Vec<f64>,
    shared: Vec<f64>,
    q: usize,
    p: usize,
    probes: usize,
    cores: usize,
}

impl Data {
    /// Some probes beside some cores, at random; each probe at its own cores where
    /// `cores` is zero.
    fn random(probes: usize, cores: usize, each: usize, q: usize, p: usize, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut data = Data {
            rows: Vec::new(),
            own: Vec::new(),
            shared: Vec::new(),
            q,
            p,
            probes,
            cores,
        };
        for probe in 0..probes {
            for i in 0..each {
                let core = (cores > 0).then(|| {
                    if i == 0 {
                        probe % cores
                    } else {
                        rng.random_range(0..cores)
                    }
                });
                data.rows.push(Row {
                    probe,
                    core,
                    weight: rng.random_range(0.5..2.0),
                    y: rng.random_range(-1.0..1.0),
                });
                data.own.push(1.0);
                data.own.extend((1..q).map(|_| rng.random_range(-1.0..1.0)));
                data.shared.push(1.0);
                data.shared
                    .extend((1..p).map(|_| rng.random_range(-1.0..1.0)));
            }
        }
        data
    }

    fn arrow(&self) -> Arrow {
        Arrow::of(&Rows {
            rows: &self.rows,
            own: &self.own,
            own_columns: self.q,
            shared: &self.shared,
            shared_columns: self.p,
        })
        .unwrap()
    }

    /// Columns of probes, of cores, and shared ones, times the roots of the weights.
    fn design(&self) -> (DMatrix<f64>, DVector<f64>) {
        let (q, p) = (self.q, self.p);
        let width = self.probes * q + self.cores + p;
        let mut x = DMatrix::zeros(self.rows.len(), width);
        let mut y = DVector::zeros(self.rows.len());
        for (i, row) in self.rows.iter().enumerate() {
            let root = row.weight.sqrt();
            y[i] = root * row.y;
            for k in 0..q {
                x[(i, row.probe * q + k)] = root * self.own[i * q + k];
            }
            if let Some(core) = row.core {
                x[(i, self.probes * q + core)] = root;
            }
            for k in 0..p {
                x[(i, self.probes * q + self.cores + k)] = root * self.shared[i * p + k];
            }
        }
        (x, y)
    }
}

/// Own cores; fewer cores than probes; more; two that hang together only by one core.
const SHAPES: [(usize, usize, usize); 4] = [(5, 0, 6), (9, 4, 4), (4, 11, 7), (6, 5, 2)];

#[test]
fn fixed_effects_leave_the_squares_and_the_rank_that_least_squares_leave() {
    for (seed, (probes, cores, each)) in SHAPES.into_iter().enumerate() {
        for q in 0..3 {
            let data = Data::random(probes, cores, each, q, 3, seed as u64);
            let reduced = data.arrow().reduce(Scaling::Fixed);
            let (x, y) = data.design();
            let svd = x.clone().svd(true, true);
            let rank = svd.rank(1e-9);
            let solution = svd.solve(&y, 1e-9).unwrap();
            let left = (&x * solution - &y).norm_squared();
            assert_eq!(
                reduced.rank + reduced.rank_shared,
                rank,
                "{probes} {cores} {q}"
            );
            assert!(
                (reduced.sum_of_squares - left).abs() < 1e-10 * y.norm_squared(),
                "{probes} {cores} {q}: {} {left}",
                reduced.sum_of_squares
            );
        }
    }
}

#[test]
fn random_effects_give_the_determinants_and_squares_of_the_whole_covariance() {
    for (seed, (probes, cores, each)) in SHAPES.into_iter().enumerate() {
        let data = Data::random(probes, cores, each, 2, 3, seed as u64);
        let (factor, core) = ([0.7, -0.3, 0.5], 0.6);
        let reduced = data.arrow().reduce(Scaling::Random {
            probe: factor,
            core,
        });
        // V = I + Z G Z' in weighted rows.
        let (x, y) = data.design();
        let random = probes * 2 + cores;
        let z = x.columns(0, random).into_owned();
        let fixed = x.columns(random, 3).into_owned();
        let mut f = DMatrix::zeros(random, random);
        for j in 0..probes {
            f[(2 * j, 2 * j)] = factor[0];
            f[(2 * j + 1, 2 * j)] = factor[1];
            f[(2 * j + 1, 2 * j + 1)] = factor[2];
        }
        for c in 0..cores {
            f[(2 * probes + c, 2 * probes + c)] = core;
        }
        let zf = &z * &f;
        let v = DMatrix::identity(y.len(), y.len()) + &zf * zf.transpose();
        let v_inverse = v.clone().try_inverse().unwrap();
        let information = fixed.transpose() * &v_inverse * &fixed;
        let covariance = information.clone().try_inverse().unwrap();
        let beta = &covariance * fixed.transpose() * &v_inverse * &y;
        let off = &y - &fixed * &beta;
        let squares = (off.transpose() * &v_inverse * &off)[(0, 0)];
        assert!((reduced.log_determinant - v.determinant().ln()).abs() < 1e-9);
        assert!((reduced.log_determinant_shared - information.determinant().ln()).abs() < 1e-9);
        assert!((reduced.sum_of_squares / squares - 1.0).abs() < 1e-10);

        let solved = data.arrow().effects(Scaling::Random {
            probe: factor,
            core,
        });
        // Effects G Z' V^-1 (y - X b), their errors G - G Z' P Z G.
        let g = &f * f.transpose();
        let effects = &g * z.transpose() * &v_inverse * &off;
        let p = &v_inverse - &v_inverse * &fixed * &covariance * fixed.transpose() * &v_inverse;
        let errors = &g - &g * z.transpose() * p * &z * &g;
        for (k, b) in solved.shared.iter().enumerate() {
            assert!((b - beta[k]).abs() < 1e-9);
            assert!((solved.shared_covariance[k * 3 + k] - covariance[(k, k)]).abs() < 1e-9);
        }
        for (j, probe) in solved.probes.iter().enumerate() {
            for k in 0..2 {
                assert!((probe.values[k] - effects[2 * j + k]).abs() < 1e-9);
                for l in 0..2 {
                    let expected = errors[(2 * j + k, 2 * j + l)];
                    assert!((probe.covariance[k * 2 + l] - expected).abs() < 1e-9);
                }
            }
        }
    }
}

#[test]
fn variances_of_zero_are_numbers_like_any_other() {
    let data = Data::random(6, 5, 4, 2, 2, 3);
    let none = data.arrow().reduce(Scaling::Random {
        probe: [0.0; 3],
        core: 0.0,
    });
    let mut without = Data::random(6, 5, 4, 2, 2, 3);
    without.rows.iter_mut().for_each(|row| row.core = None);
    without.own.clear();
    without.q = 0;
    let plain = without.arrow().reduce(Scaling::Fixed);
    assert_eq!(none.log_determinant, 0.0);
    assert!((none.sum_of_squares - plain.sum_of_squares).abs() < 1e-12);
    let solved = data.arrow().effects(Scaling::Random {
        probe: [0.0; 3],
        core: 0.0,
    });
    assert!(solved.probes.iter().all(|probe| probe.values == [0.0, 0.0]));
}

#[test]
fn more_than_can_be_solved_is_refused_with_its_size() {
    let data = Data::random(1_200, 1_100, 4, 1, 1, 1);
    let refused = Arrow::of(&Rows {
        rows: &data.rows,
        own: &data.own,
        own_columns: 1,
        shared: &data.shared,
        shared_columns: 1,
    });
    let error = refused.unwrap_err();
    assert!(error.to_string().contains("limit 1000"), "{error}");
}
