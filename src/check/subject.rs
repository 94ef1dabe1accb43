//! What is checked: a look as a function of a colour and a strength.

use std::sync::Arc;

use crate::colour::{Encoding, Shaped, acescct_decode, acescct_encode, apply, encoding};
use crate::interchange::clf::Clf;
use crate::look::{Chain, Intent, Reach, Stage};
use crate::picture::{Balance, Recipe, Tail, cpu::Grader};

/// F: a colour in ACEScct to a colour in ACEScct.
pub type Transform = Arc<dyn Fn([f64; 3]) -> [f64; 3] + Send + Sync>;

/// A look to be checked.
pub struct Subject {
    /// What people call it.
    pub name: String,
    /// What it says that it means to do.
    pub intent: Option<Intent>,
    /// What is not part of F, and why: one line each.
    pub left_out: Vec<String>,
    at: Box<dyn Fn(f64) -> Transform + Send + Sync>,
}

impl Subject {
    /// Any function of ACEScct; a strength mixes it with its input there.
    pub fn of_function(
        name: impl Into<String>,
        f: impl Fn([f64; 3]) -> [f64; 3] + Send + Sync + 'static,
    ) -> Self {
        let whole: Transform = Arc::new(f);
        let at = move |strength: f64| -> Transform {
            let f = whole.clone();
            if strength == 1.0 {
                return f;
            }
            Arc::new(move |x| {
                let y = f(x);
                std::array::from_fn(|c| x[c] + (y[c] - x[c]) * strength)
            })
        };
        Self { name: name.into(), intent: None, left_out: Vec::new(), at: Box::new(at) }
    }

    /// A look's stages, by their CPU twins in f64. A strength is that of the look as a whole. Stages that read
    /// their neighbours or ask for their place (grain, vignette) are no functions of a colour: they are left out, and named.
    pub fn of_stages(name: impl Into<String>, stages: &[Stage], intent: Option<Intent>) -> Self {
        let point = |s: &&Stage| s.declaration().reach == Reach::Point && !s.declaration().spot || !s.on;
        let look: Vec<Stage> = stages.iter().filter(point).cloned().collect();
        let left_out = stages
            .iter()
            .filter(|s| !point(s))
            .map(|s| {
                format!("{} is texture, which is no function of a colour: not measured", s.declaration().key)
            })
            .chain(
                stages
                    .iter()
                    .filter(|s| s.on && s.declaration().table && s.lut.is_none())
                    .map(|s| format!("{} has no file, so it does nothing", s.declaration().key)),
            )
            .collect();
        let at = move |strength: f64| -> Transform {
            let chain = Chain { look: look.clone(), look_strength: strength, ..Chain::default() };
            let acescct = acescct();
            let recipe = Recipe::graded(acescct, Balance::default(), &chain, Tail::Encoding(acescct));
            let grader = Grader::<f64>::new(&recipe);
            Arc::new(move |x| grader.chain(x))
        };
        Self { name: name.into(), intent, left_out, at: Box::new(at) }
    }

    /// A LUT that expects one encoding and gives another, both of scene light.
    pub fn of_lut(
        name: impl Into<String>,
        lut: &Shaped<f32>,
        expects: &'static Encoding,
        gives: &'static Encoding,
    ) -> Self {
        let lut = lut.to::<f64>();
        Self::of_function(name, between(expects, gives, move |x| lut.apply(x)))
    }

    /// A CLF file that expects one encoding and gives another, both of scene light.
    pub fn of_clf(
        name: impl Into<String>,
        clf: &Clf,
        expects: &'static Encoding,
        gives: &'static Encoding,
    ) -> Self {
        let process = clf.process::<f64>();
        Self::of_function(name, between(expects, gives, move |x| process.apply(x)))
    }

    /// The look at a strength.
    pub fn at(&self, strength: f64) -> Transform {
        (self.at)(strength)
    }
}

fn acescct() -> &'static Encoding {
    // The list of encodings has it: a test of the colour room says so.
    encoding("acescct").expect("ACEScct is an encoding")
}

/// `f` between conversions from and to ACEScct.
fn between(
    expects: &'static Encoding,
    gives: &'static Encoding,
    f: impl Fn([f64; 3]) -> [f64; 3] + Send + Sync + 'static,
) -> impl Fn([f64; 3]) -> [f64; 3] + Send + Sync + 'static {
    let is_acescct = |e: &Encoding| e.id == acescct().id;
    let (enters, leaves) = (!is_acescct(expects), !is_acescct(gives));
    let (from_acescg, encode) = (expects.from_acescg().rows::<f64>(), expects.curve.values::<f64>());
    let (to_acescg, decode) = (gives.to_acescg().rows::<f64>(), gives.curve.values::<f64>());
    move |x| {
        let x = match enters {
            true => apply(&from_acescg, x.map(acescct_decode)).map(|v| encode.encode(v)),
            false => x,
        };
        let y = f(x);
        match leaves {
            true => apply(&to_acescg, y.map(|v| decode.decode(v))).map(acescct_encode),
            false => y,
        }
    }
}
