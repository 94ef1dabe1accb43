//! How far what is handed over is from the live path.

use rayon::prelude::*;

use crate::colour::Encoding;
use crate::look::Reach;
use crate::picture::cpu::Grader;
use crate::picture::{Balance, Recipe, Tail};

/// Differences of a colour's channel that differs most, in codes of ten bits.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Distance {
    /// Half of the colours are nearer than this.
    pub p50: f64,
    /// 99 of 100 colours are nearer than this.
    pub p99: f64,
    /// The farthest colour.
    pub max: f64,
}

impl Distance {
    /// Between two lists of colours of one length, 0…1.
    pub fn between(a: &[[f64; 3]], b: &[[f64; 3]]) -> Self {
        let far = |(a, b): (&[f64; 3], &[f64; 3])| {
            let one = |c: usize| {
                let d = (a[c] - b[c]).abs() * 1023.0;
                // What is no number is as far as can be.
                if d.is_nan() { f64::INFINITY } else { d }
            };
            one(0).max(one(1)).max(one(2))
        };
        let mut all: Vec<f64> = a.iter().zip(b).map(far).collect();
        all.sort_by(f64::total_cmp);
        let Some(last) = all.len().checked_sub(1) else { return Self::default() };
        let at = |share: f64| all[((last as f64) * share).round() as usize];
        Self { p50: at(0.5), p99: at(0.99), max: all[last] }
    }

    /// As people read it.
    pub fn text(&self) -> String {
        format!("p50 {:.2}, p99 {:.2}, max {:.2}", self.p50, self.p99, self.max)
    }
}

/// A recipe that a table can hold: from values to values, colour by colour.
pub struct Path {
    /// The recipe.
    pub recipe: Recipe,
    grader: Grader<f64>,
}

impl Path {
    /// Leaves out of a recipe what is no function of a colour: stages that read their neighbours or ask for their place.
    /// Those that act are named.
    pub fn new(mut recipe: Recipe) -> (Self, Vec<&'static str>) {
        let mut left = Vec::new();
        recipe.stages.retain(|s| {
            let d = s.kind.declaration();
            let point = d.reach == Reach::Point && !d.spot;
            if !point && s.strength > 0.0 {
                left.push(d.key);
            }
            point && s.strength > 0.0
        });
        let grader = Grader::new(&recipe);
        (Self { recipe, grader }, left)
    }

    /// The same recipe with another beginning and another end.
    pub fn part(&self, from: &'static Encoding, balance: Option<Balance>, tail: Tail) -> Self {
        let mut recipe = self.recipe.clone();
        recipe.decode.encoding = from;
        (recipe.balance, recipe.tail) = (balance, tail);
        let grader = Grader::new(&recipe);
        Self { recipe, grader }
    }

    /// The same without the chain.
    pub fn without_stages(mut self) -> Self {
        self.recipe.stages.clear();
        self.grader = Grader::new(&self.recipe);
        self
    }

    /// One colour.
    pub fn pixel(&self, v: [f64; 3]) -> [f64; 3] {
        self.grader.pixel(v)
    }

    /// Many.
    pub fn pixels(&self, all: &[[f64; 3]]) -> Vec<[f64; 3]> {
        all.par_iter().map(|v| self.grader.pixel(*v)).collect()
    }
}
