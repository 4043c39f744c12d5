//! The lowest point of a smooth function by the method of Broyden, Fletcher, Goldfarb and Shanno, and small matrices.

/// A square matrix by rows.
pub type Matrix = Vec<Vec<f64>>;

/// Steps after which the search ends wherever it is.
const STEPS_MAX: usize = 300;
/// Halvings of one step.
const HALVINGS_MAX: usize = 40;
/// A slope below this, in every direction, is level ground.
const LEVEL: f64 = 1e-6;
/// A fall smaller than this part of the value is lost among its last digits.
const TELLING: f64 = 1e-13;
/// The longest step in any direction, in the units of the figures (logarithms and logits).
const STRIDE_MAX: f64 = 2.0;

/// The lowest point near `start`, by the method of Broyden, Fletcher, Goldfarb and Shanno: each step mends the guess at the
/// curvature. `height` gives the value and writes the slope.
pub fn lowest(start: &[f64], mut height: impl FnMut(&[f64], &mut [f64]) -> f64) -> Vec<f64> {
    let n = start.len();
    let mut at = start.to_vec();
    let mut slope = vec![0.0; n];
    let mut value = height(&at, &mut slope);
    let mut inverse = unit(n);
    let mut fresh = true;
    for _ in 0..STEPS_MAX {
        if slope.iter().all(|s| s.abs() < LEVEL) {
            break;
        }
        let mut way = product(&inverse, &slope);
        way.iter_mut().for_each(|w| *w = -*w);
        if dot(&way, &slope) >= 0.0 {
            inverse = unit(n);
            way = slope.iter().map(|s| -s).collect();
        }
        let longest = way.iter().fold(0.0_f64, |most, w| most.max(w.abs()));
        if longest > STRIDE_MAX {
            way.iter_mut().for_each(|w| *w *= STRIDE_MAX / longest);
        }
        let fall = dot(&way, &slope);
        if -fall < TELLING * (1.0 + value.abs()) {
            break;
        }
        let mut length = 1.0;
        let mut next = vec![0.0; n];
        let mut there = vec![0.0; n];
        let mut low = f64::INFINITY;
        for _ in 0..HALVINGS_MAX {
            for k in 0..n {
                next[k] = at[k] + length * way[k];
            }
            low = height(&next, &mut there);
            if low.is_finite() && low <= value + 1e-4 * length * fall {
                break;
            }
            low = f64::INFINITY;
            length *= 0.5;
        }
        if !low.is_finite() {
            // Nothing lower this way: level as far as the numbers tell, unless the guess at the curvature was bad.
            if fresh {
                break;
            }
            inverse = unit(n);
            fresh = true;
            continue;
        }
        let step: Vec<f64> = next.iter().zip(&at).map(|(a, b)| a - b).collect();
        let turn: Vec<f64> = there.iter().zip(&slope).map(|(a, b)| a - b).collect();
        let along = dot(&step, &turn);
        if along > 1e-12 {
            if fresh {
                let scale = along / dot(&turn, &turn);
                inverse.iter_mut().flatten().for_each(|x| *x *= scale);
            }
            mend(&mut inverse, &step, &turn, along);
            fresh = false;
        }
        (at, slope, value) = (next, there, low);
    }
    at
}

fn mend(inverse: &mut Matrix, step: &[f64], turn: &[f64], along: f64) {
    let bent = product(inverse, turn);
    let spread = (1.0 + dot(turn, &bent) / along) / along;
    for (i, row) in inverse.iter_mut().enumerate() {
        for (j, x) in row.iter_mut().enumerate() {
            *x += spread * step[i] * step[j] - (bent[i] * step[j] + step[i] * bent[j]) / along;
        }
    }
}

/// The unit matrix.
pub fn unit(n: usize) -> Matrix {
    (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect()
}

/// A matrix times a vector.
pub fn product(matrix: &Matrix, vector: &[f64]) -> Vec<f64> {
    matrix.iter().map(|row| dot(row, vector)).collect()
}

/// The inner product.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// The inverse of a symmetric matrix and the logarithm of its determinant, by Cholesky's root; none unless every curvature is up.
pub fn inverse(matrix: &Matrix) -> Option<(Matrix, f64)> {
    let n = matrix.len();
    let mut root = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let rest = matrix[i][j] - dot(&root[i][..j], &root[j][..j]);
            if i == j {
                if rest.is_nan() || rest <= 0.0 {
                    return None;
                }
                root[i][i] = rest.sqrt();
            } else {
                root[i][j] = rest / root[j][j];
            }
        }
    }
    let log = 2.0 * (0..n).map(|i| root[i][i].ln()).sum::<f64>();
    let mut columns = unit(n);
    for column in &mut columns {
        for i in 0..n {
            column[i] = (column[i] - dot(&root[i][..i], &column[..i])) / root[i][i];
        }
        for i in (0..n).rev() {
            let below: f64 = (i + 1..n).map(|k| root[k][i] * column[k]).sum();
            column[i] = (column[i] - below) / root[i][i];
        }
    }
    Some((columns, log))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curved_valley_is_followed_to_its_lowest_point() {
        // Rosenbrock's function, lowest at (1, 1).
        let found = lowest(&[-1.2, 1.0], |x, slope| {
            let (a, b) = (1.0 - x[0], x[1] - x[0] * x[0]);
            slope[0] = -2.0 * a - 400.0 * x[0] * b;
            slope[1] = 200.0 * b;
            a * a + 100.0 * b * b
        });
        assert!((found[0] - 1.0).abs() < 1e-5 && (found[1] - 1.0).abs() < 1e-5, "{found:?}");
    }

    #[test]
    fn an_inverse_undoes_its_matrix() {
        let matrix = vec![vec![4.0, 2.0, 0.4], vec![2.0, 3.0, -0.5], vec![0.4, -0.5, 2.0]];
        let (undone, log) = inverse(&matrix).unwrap();
        for (i, row) in undone.iter().enumerate() {
            let back = product(&matrix, row);
            for (j, x) in back.iter().enumerate() {
                assert!((x - f64::from(u8::from(i == j))).abs() < 1e-12);
            }
        }
        // 4·(3·2 − 0.25) − 2·(2·2 + 0.2) + 0.4·(−1 − 1.2) = 23 − 8.4 − 0.88
        assert!((log.exp() - 13.72).abs() < 1e-9, "{}", log.exp());
        assert!(inverse(&vec![vec![1.0, 2.0], vec![2.0, 1.0]]).is_none());
    }
}
