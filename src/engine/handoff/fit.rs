//! The ASC CDL that comes nearest to a shot's balance, where none is exactly it.

use crate::colour::{Cdl, STOP_ACESCCT};
use crate::picture::{Balance, BalanceField};

/// Numbers of a colour decision.
const COUNT: usize = 10;

/// Steps of the descent, at most.
const ROUNDS: usize = 60;

/// The least power: below it a picture is flat.
const LEAST_POWER: f64 = 0.05;

/// The decision on ACEScct that is the balance exactly, if there is one.
pub fn exact(balance: &Balance) -> Option<Cdl<f64>> {
    balance.outside_cdl().is_empty().then(|| balance.cdl())
}

/// Where to begin: exposure as an offset, all that an ASC CDL carries as it is.
pub fn start(balance: &Balance) -> Cdl<f64> {
    let mut cdl = balance.cdl();
    let lift = balance.get(BalanceField::Exposure) * STOP_ACESCCT;
    let white = balance.white_balance().times([1.0; 3]).map(|w| w.max(1e-6).log2() * STOP_ACESCCT);
    cdl.offset = std::array::from_fn(|c| cdl.offset[c] + cdl.slope[c] * (lift + white[c]));
    cdl
}

fn numbers(cdl: &Cdl<f64>) -> [f64; COUNT] {
    let three = |i: usize| [cdl.slope, cdl.offset, cdl.power][i / 3][i % 3];
    std::array::from_fn(|i| if i < 9 { three(i) } else { cdl.saturation })
}

fn cdl(n: &[f64; COUNT]) -> Cdl<f64> {
    Cdl {
        slope: [n[0], n[1], n[2]].map(|s| s.max(0.0)),
        offset: [n[3], n[4], n[5]],
        power: [n[6], n[7], n[8]].map(|p| p.max(LEAST_POWER)),
        saturation: n[9].max(0.0),
    }
}

/// The decision for which the squares of `errors` sum to the least, from a first one on: Levenberg and Marquardt's
/// descent with differences for derivatives. `errors` gives as many numbers whatever the decision.
pub fn least_squares(from: Cdl<f64>, rounds: usize, errors: impl Fn(&Cdl<f64>) -> Vec<f64>) -> Cdl<f64> {
    const STEP: f64 = 1e-5;
    let sum = |e: &[f64]| e.iter().map(|x| x * x).sum::<f64>();
    let mut at = numbers(&from);
    let mut now = errors(&cdl(&at));
    let mut damping = 1e-4;
    for _ in 0..rounds.min(ROUNDS) {
        let columns: [Vec<f64>; COUNT] = std::array::from_fn(|i| {
            let mut moved = at;
            moved[i] += STEP;
            errors(&cdl(&moved)).iter().zip(&now).map(|(a, b)| (a - b) / STEP).collect()
        });
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let gradient: [f64; COUNT] = std::array::from_fn(|i| dot(&columns[i], &now));
        let square: [[f64; COUNT]; COUNT] =
            std::array::from_fn(|i| std::array::from_fn(|j| dot(&columns[i], &columns[j])));
        let before = sum(&now);
        let mut better = false;
        for _ in 0..8 {
            let mut matrix = square;
            for (i, row) in matrix.iter_mut().enumerate() {
                row[i] += damping * (row[i] + 1e-9);
            }
            let Some(step) = solve(matrix, gradient) else { break };
            let next = numbers(&cdl(&std::array::from_fn(|i| at[i] - step[i])));
            let found = errors(&cdl(&next));
            if sum(&found) < before {
                (at, now, better) = (next, found, true);
                damping = (damping * 0.3).max(1e-12);
                break;
            }
            damping *= 10.0;
        }
        if !better || before - sum(&now) <= 1e-12 * before {
            break;
        }
    }
    cdl(&at)
}

/// Gauss's elimination with the largest pivot.
fn solve(mut m: [[f64; COUNT]; COUNT], mut v: [f64; COUNT]) -> Option<[f64; COUNT]> {
    for i in 0..COUNT {
        let pivot = (i..COUNT).max_by(|a, b| m[*a][i].abs().total_cmp(&m[*b][i].abs()))?;
        if m[pivot][i].abs() < 1e-300 || !m[pivot][i].is_finite() {
            return None;
        }
        m.swap(i, pivot);
        v.swap(i, pivot);
        for row in i + 1..COUNT {
            let share = m[row][i] / m[i][i];
            for column in i..COUNT {
                m[row][column] -= share * m[i][column];
            }
            v[row] -= share * v[i];
        }
    }
    for i in (0..COUNT).rev() {
        for j in i + 1..COUNT {
            v[i] -= m[i][j] * v[j];
        }
        v[i] /= m[i][i];
    }
    Some(v)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Colours on a lattice of ACEScct.
    fn lattice() -> Vec<[f64; 3]> {
        let at = |i: usize| 0.1 + 0.07 * i as f64;
        (0..1000).map(|i| [at(i % 10), at(i / 10 % 10), at(i / 100)]).collect()
    }

    #[test]
    fn a_decision_is_found_again() {
        let wanted = Cdl {
            slope: [1.2, 0.9, 1.05],
            offset: [-0.03, 0.02, 0.05],
            power: [1.3, 0.8, 1.0],
            saturation: 1.25,
        };
        let seen = lattice();
        let errors = |c: &Cdl<f64>| {
            let far = |v: &[f64; 3]| {
                let (a, b) = (c.forward_no_clamp(*v), wanted.forward_no_clamp(*v));
                [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
            };
            seen.iter().flat_map(far).collect::<Vec<f64>>()
        };
        let found = least_squares(Cdl::IDENTITY, ROUNDS, errors);
        for (a, b) in numbers(&found).iter().zip(numbers(&wanted)) {
            assert!((a - b).abs() < 1e-6, "{found:?}");
        }
    }

    #[test]
    fn what_a_cdl_carries_is_exact() {
        let all =
            [BalanceField::Contrast, BalanceField::OffsetB, BalanceField::PowerG, BalanceField::Saturation];
        let balance = all.iter().fold(Balance::default(), |b, f| b.with(*f, 1.3));
        assert_eq!(exact(&balance), Some(balance.cdl()));
        for field in [BalanceField::Exposure, BalanceField::Warmth, BalanceField::ShadowExposure] {
            assert_eq!(exact(&balance.with(field, 0.5)), None);
        }
    }
}
