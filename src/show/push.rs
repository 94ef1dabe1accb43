//! Balance by what the scopes show: colour pushed on the vectorscope, exposure lifted on the waveform.

use super::{Change, Output, Show, ShowError, Slot};
use crate::colour::{GREY, encoding};
use crate::look::{Chain, List, Reach};
use crate::picture::cpu::Grader;
use crate::picture::{Balance, BalanceField, Recipe};
use crate::scope::System;

/// Printer points from which the signal's slope is measured.
const STEP: f64 = 0.25;
/// Stops over and under grey that a level of the waveform may stand for.
const REACH: f64 = 14.0;

const OFFSETS: [BalanceField; 3] = [BalanceField::OffsetR, BalanceField::OffsetG, BalanceField::OffsetB];

/// The client's signal of neutral light through a shot's balance and the chain, as far as that is a function of a colour:
/// prepared once, for any balance of that shot.
pub struct Pusher {
    grader: Grader<f64>,
    system: System,
    shot: usize,
}

impl Pusher {
    /// Prepares it, which takes a while where the chain has large LUTs; without the chain, for what scopes show of balance
    /// alone.
    ///
    /// # Errors
    /// [`ShowError::Change`] when there is no such shot.
    pub fn of(show: &Show, shot: usize, chain: bool) -> Result<Self, ShowError> {
        let Some(s) = show.shots.get(shot) else {
            let accepted = format!("a shot from 1 to {}", show.shots.len());
            return Err(ShowError::change(format!("the show has no shot {}", shot + 1), accepted));
        };
        let mut stages = if chain { show.chain_of(s).into_owned() } else { Chain::default() };
        for list in List::ALL {
            stages.list_mut(list).retain(|s| {
                let d = s.declaration();
                d.reach == Reach::Point && !d.spot
            });
        }
        let acescg = encoding("acescg").ok_or_else(|| ShowError::change("there is no ACEScg", ""))?;
        let recipe = Recipe::graded(acescg, s.balance, &stages, show.tail(Output::Client));
        Ok(Self { grader: Grader::new(&recipe), system: show.system(Output::Client), shot })
    }

    /// The signal of grey with other offsets in a balance.
    fn grey(&mut self, balance: Balance, offsets: [f64; 3]) -> [f64; 3] {
        let set = |b: Balance, (field, value): (BalanceField, f64)| b.with(field, value);
        self.grader.set_balance(OFFSETS.into_iter().zip(offsets).fold(balance, set));
        self.grader.pixel([GREY; 3])
    }

    /// The change that moves a shot's middle grey by so much of C_B and C_R on the client's signal, at the same luma: in the
    /// offsets of balance. Other levels move about as far, as the contrast there lets them.
    ///
    /// # Errors
    /// [`ShowError::Change`] when offsets within their ranges do not do that.
    pub fn push(&mut self, balance: Balance, [cb, cr]: [f64; 2]) -> Result<Change, ShowError> {
        let ([wr, wg, wb], [db, dr]) = (self.system.weights(), self.system.divisors());
        let (red, blue) = (cr * dr, cb * db);
        let start = OFFSETS.map(|f| balance.get(f));
        let before = self.grey(balance, start);
        let wanted = [before[0] + red, before[1] - (wr * red + wb * blue) / wg, before[2] + blue];
        let refuse = |what: &str| ShowError::change(what, "a smaller push, or exposure nearer to grey");
        let mut offsets = start;
        // By Newton: the signal bends, so one step from its slope does not quite arrive.
        for _ in 0..4 {
            let now = self.grey(balance, offsets);
            let columns: [[f64; 3]; 3] = std::array::from_fn(|i| {
                let mut moved = offsets;
                moved[i] += STEP;
                let there = self.grey(balance, moved);
                std::array::from_fn(|c| (there[c] - now[c]) / STEP)
            });
            let missing: [f64; 3] = std::array::from_fn(|c| wanted[c] - now[c]);
            let Some(by) = solve(columns, missing) else {
                return Err(refuse("offsets do not move the signal of middle grey here"));
            };
            offsets = std::array::from_fn(|i| offsets[i] + by[i]);
        }
        let arrived = self
            .grey(balance, offsets)
            .iter()
            .zip(wanted)
            .all(|(found, wanted)| (found - wanted).abs() < 1e-3);
        if !arrived {
            return Err(refuse("the signal of middle grey does not come so far"));
        }
        let held = |(f, v): (BalanceField, f64)| (f.parameter().min..=f.parameter().max).contains(&v);
        if !OFFSETS.into_iter().zip(offsets).all(held) {
            return Err(refuse("the offsets of balance do not reach so far"));
        }
        let shot = self.shot;
        let set = |(field, value)| Change::SetParameter { slot: Slot::Balance { shot, field }, value };
        Ok(Change::Together(OFFSETS.into_iter().zip(offsets).map(set).collect()))
    }

    /// The change of exposure that brings what has luma `from` on the client's signal, 0…1, to luma `to`: exactly for
    /// neutral light; as far as exposure's range goes.
    ///
    /// # Errors
    /// [`ShowError::Change`] when no exposure does.
    pub fn lift(&mut self, balance: Balance, from: f64, to: f64) -> Result<Change, ShowError> {
        self.grader.set_balance(balance);
        let weights = self.system.weights();
        let luma = |stops: f64| {
            let signal = self.grader.pixel([GREY * stops.exp2(); 3]);
            (0..3).map(|c| weights[c] * signal[c]).sum::<f64>()
        };
        let stops_of = |level: f64| {
            let (mut low, mut high) = (-REACH, REACH);
            if !(luma(low)..luma(high)).contains(&level) {
                return None;
            }
            for _ in 0..40 {
                let middle = (low + high) / 2.0;
                if luma(middle) < level { low = middle } else { high = middle }
            }
            Some((low + high) / 2.0)
        };
        let refuse = |level: f64| {
            let percent = 100.0 * level;
            ShowError::change(
                format!("no light of the scene has {percent:.1} % of the signal here"),
                format!("a level from {:.1} % to under {:.1} %", 100.0 * luma(-REACH), 100.0 * luma(REACH)),
            )
        };
        let by = stops_of(to).ok_or_else(|| refuse(to))? - stops_of(from).ok_or_else(|| refuse(from))?;
        let field = BalanceField::Exposure;
        let value = field.parameter().held(balance.get(field) + by);
        Ok(Change::SetParameter { slot: Slot::Balance { shot: self.shot, field }, value })
    }
}

impl Show {
    /// Whose luma an output's signal has.
    pub fn system(&self, output: Output) -> System {
        let wide = self.outputs.get(output).display.primaries == crate::colour::BT2020;
        if wide { System::Bt2020 } else { System::Bt709 }
    }

    /// As [`Pusher::push`], for once.
    ///
    /// # Errors
    /// As that, and when there is no such shot.
    pub fn push_colour(&self, shot: usize, by: [f64; 2]) -> Result<Change, ShowError> {
        Pusher::of(self, shot, true)?.push(self.shots[shot].balance, by)
    }

    /// As [`Pusher::lift`], for once.
    ///
    /// # Errors
    /// As that, and when there is no such shot.
    pub fn lift_level(&self, shot: usize, from: f64, to: f64) -> Result<Change, ShowError> {
        Pusher::of(self, shot, true)?.lift(self.shots[shot].balance, from, to)
    }
}

/// x of `columns` · x = y, by Cramer's rule.
pub(super) fn solve(columns: [[f64; 3]; 3], y: [f64; 3]) -> Option<[f64; 3]> {
    let det = |[a, b, c]: [[f64; 3]; 3]| {
        a[0] * (b[1] * c[2] - b[2] * c[1]) - b[0] * (a[1] * c[2] - a[2] * c[1])
            + c[0] * (a[1] * b[2] - a[2] * b[1])
    };
    let whole = det(columns);
    let size: f64 = columns.iter().map(|c| c.iter().map(|v| v * v).sum::<f64>().sqrt()).product();
    (whole.abs() > 1e-6 * size && size > 0.0).then(|| {
        std::array::from_fn(|i| {
            let mut with = columns;
            with[i] = y;
            det(with) / whole
        })
    })
}
