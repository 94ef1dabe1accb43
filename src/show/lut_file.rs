//! Tables from files.

use std::path::Path;
use std::sync::Arc;

use super::ShowError;
use crate::colour::{ENCODINGS, Space, acescct_decode, space};
use crate::interchange::clf::Clf;
use crate::interchange::cube::Cube;
use crate::look::{Bake, NamedLut, Side};

/// Reads the `.cube` or `.clf` file `file`, relative to `folder` if it is not absolute; the name is kept as given.
/// What it expects and gives is what a CLF's descriptors say, if they are ids of ours, else ACEScct.
///
/// # Errors
/// [`ShowError::Io`] when it cannot be read; [`ShowError::Lut`] with its line and what is accepted when it is
/// neither.
pub fn load_lut(folder: &Path, file: &Path) -> Result<NamedLut, ShowError> {
    load_lut_as(folder, file, [None; 2])
}

/// The same where somebody says what it expects and what it gives. A CLF is baked for these: some tenths of a
/// second. A LUT for a display is read too; a chain refuses it.
///
/// # Errors
/// As [`load_lut`].
pub fn load_lut_as(folder: &Path, file: &Path, said: [Option<Space>; 2]) -> Result<NamedLut, ShowError> {
    if file.to_str().is_none() {
        return Err(ShowError::Path(file.to_owned()));
    }
    let path = folder.join(file);
    let io = |source| ShowError::Io { doing: "read", path: path.clone(), source };
    let bytes = std::fs::read(&path).map_err(io)?;
    let wrong = |error| ShowError::Lut { file: path.clone(), error };
    let mut lut = NamedLut::new(file, Arc::default());
    if is_clf(file) {
        read_clf(&mut lut, &Clf::read(&bytes).map_err(wrong)?, said).map_err(wrong)?;
        if lut.bake.as_ref().is_some_and(Bake::is_coarse) {
            tracing::warn!("{}: {}", path.display(), lut.bake_text().unwrap_or_default());
        }
    } else {
        lut.lut = Arc::new(Cube::read(&bytes).map_err(wrong)?.lut);
        [lut.expects, lut.gives] = said.map(|hand| Side::of(hand, None));
    }
    Ok(lut)
}

/// Is a file of that name read as CLF?
fn is_clf(file: &Path) -> bool {
    file.extension().is_some_and(|e| e.eq_ignore_ascii_case("clf"))
}

/// Is a file of that name one that a stage may read?
pub fn is_lut_file(file: &Path) -> bool {
    is_clf(file) || file.extension().is_some_and(|e| e.eq_ignore_ascii_case("cube"))
}

fn read_clf(
    lut: &mut NamedLut,
    clf: &Clf,
    said: [Option<Space>; 2],
) -> Result<(), crate::interchange::Error> {
    let by_file = |text: &Option<String>| text.as_deref().and_then(|t| space(t.trim()));
    lut.expects = Side::of(said[0], by_file(&clf.input));
    lut.gives = Side::of(said[1], by_file(&clf.output));
    let curve = |side: Side| match side.space {
        Space::Encoding(e) => e.curve,
        Space::Display(d) => d.curve,
    };
    let matrix = match lut.expects.space {
        Space::Encoding(e) => e.from_acescg(),
        Space::Display(d) => d.from_acescg(),
    };
    let arriving = |v: [f64; 3]| matrix.times(v.map(acescct_decode));
    let fitted = clf.process::<f64>().fit([lut.expects, lut.gives].map(curve), arriving)?;
    let codes = |share: f64| share * 1023.0;
    lut.lut = Arc::new(fitted.lut);
    lut.bake = Some(Bake {
        p99: codes(fitted.residual.p99),
        max: codes(fitted.residual.max),
        light: fitted.light,
        matrices: fitted.matrices,
        input: clf.input.clone(),
        output: clf.output.clone(),
    });
    Ok(())
}

/// What a LUT may expect and give in a chain.
pub(super) fn scene_ids() -> String {
    let scene = ENCODINGS.iter().filter(|e| Space::Encoding(e).scene().is_some());
    scene.map(|e| e.id).collect::<Vec<_>>().join(", ")
}

/// Why a chain has no place for a LUT with such a side, and what it would take.
pub(super) fn refusal(side: &str, space: Space) -> (String, String) {
    let why = match side {
        "gives" => {
            "it leaves no scene light for the stages after it, nor for outputs of other displays and HDR"
        }
        _ => "ahead of the output transform there is no picture for a display",
    };
    let id = space.id();
    let what = format!("a LUT in the chain {side} {id} ({}), which is for a display: {why}", space.name());
    let accepted =
        format!("{}; a LUT for a display is an output transform: transform = \"lut:FILE\"", scene_ids());
    (what, accepted)
}

/// Refuses a LUT for a display.
pub(super) fn check_lut(lut: &NamedLut) -> Result<(), ShowError> {
    match lut.for_display() {
        None => Ok(()),
        Some((side, space)) => {
            let (what, accepted) = refusal(side, space);
            Err(ShowError::change(what, accepted))
        }
    }
}
