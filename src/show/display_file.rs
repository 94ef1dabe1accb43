//! Displays written out in TOML: those of a show, and those that come with the program.

use std::borrow::Cow;
use std::path::Path;
use std::sync::{Arc, LazyLock};

use super::reader::{Source, Table, Tables};
use super::writer::{line, number, quoted};
use super::{ShowError, VERSION};
use crate::colour::{
    AP1, Adaptation, BT709, BT2020, Curve, DISPLAYS, Display, Matrix, P3_D65, Primaries, White, conversion,
    display,
};

macro_rules! shipped {
    ($($name:literal)+) => {
        /// File names and texts of the displays in configs/displays.
        pub const DISPLAY_FILES: &[(&str, &str)] =
            &[$((concat!($name, ".toml"), include_str!(concat!("../../configs/displays/", $name, ".toml")))),+];
    };
}

shipped! {
    "rec709-d60"
    "p3-d65-d60"
    "rec2100-pq-1000-p3-d60"
}

/// The displays that come with the program as files, beside [`DISPLAYS`].
pub fn shipped_displays() -> &'static [Arc<Display>] {
    static SHIPPED: LazyLock<Vec<Arc<Display>>> = LazyLock::new(|| {
        let read = |(file, text): &(&str, &str)| match read_file(text, Path::new(file), false) {
            Ok(displays) => displays,
            Err(e) => {
                tracing::error!("a display that comes with the program cannot be read: {e}");
                Vec::new()
            }
        };
        DISPLAY_FILES.iter().flat_map(read).collect()
    });
    &SHIPPED
}

/// The display called `id` that comes with the program, in its table or as a file.
pub fn known_display(id: &str) -> Option<Arc<Display>> {
    display(id).map(Arc::from).or_else(|| shipped_displays().iter().find(|d| d.id == id).cloned())
}

/// Every display that comes with the program.
pub fn known_displays() -> impl Iterator<Item = Arc<Display>> {
    DISPLAYS.iter().map(Arc::from).chain(shipped_displays().iter().cloned())
}

/// The displays that a file describes, as `[display.NAME]` tables. `file` is for messages.
///
/// # Errors
/// [`ShowError::Text`] with file, line and what is accepted; [`ShowError::Newer`] for a later format.
pub fn read_displays(text: &str, file: &Path) -> Result<Vec<Arc<Display>>, ShowError> {
    read_file(text, file, true)
}

fn read_file(text: &str, file: &Path, own: bool) -> Result<Vec<Arc<Display>>, ShowError> {
    Source { file, text, tables: Tables::Read }.with_tables(VERSION, |root| {
        root.only(&["version", "display"])?;
        read_all(&root, own)
    })
}

/// The `[display.NAME]` tables of a show.
pub(super) fn read_own(root: &Table<'_>) -> Result<Vec<Arc<Display>>, ShowError> {
    read_all(root, true)
}

fn read_all(root: &Table<'_>, own: bool) -> Result<Vec<Arc<Display>>, ShowError> {
    let Some(all) = root.table("display", "[display.NAME]")? else { return Ok(Vec::new()) };
    let mut out = Vec::new();
    for (at, id) in all.keys() {
        let is_plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        if id.is_empty() || !id.chars().all(is_plain) {
            let accepted = "letters, digits, - and _";
            return Err(all.source.wrong(at, format!("a display is called {id:?}"), accepted));
        }
        if own && known_display(id).is_some() {
            let what = format!("{id} is a display that comes with the program");
            return Err(all.source.wrong(at, what, "a name of its own for each display"));
        }
        let table = all.need_table(id, &format!("[display.{id}]"))?;
        out.push(Arc::new(read_one(&table, id)?));
    }
    Ok(out)
}

/// The primaries that have a name.
const PRIMARIES: &[(&str, Primaries)] = &[("bt709", BT709), ("p3-d65", P3_D65), ("bt2020", BT2020)];

const ACCEPTED_PRIMARIES: &str = "bt709, p3-d65, bt2020, or { red = [x, y], green = [x, y], blue = [x, y], white = [x, y] } \
                                  in CIE 1931 x and y";

/// Peaks that a display may have, cd/m²: what ACES 2.0's tone scale is made for.
const PEAKS: std::ops::RangeInclusive<f64> = 100.0..=10_000.0;
const ACCEPTED_PEAKS: &str = "100 to 10000 cd/m²; cinema's 48 count as 100";

/// Peaks that BT.2100-2 gives HLG's system gamma for, cd/m².
const HLG_PEAKS: std::ops::RangeInclusive<f64> = 400.0..=2000.0;

const ACCEPTED_TRANSFERS: &str = "bt1886, srgb, gamma 2.2 (1 to 4), pq, hlg, linear";

fn read_one(table: &Table<'_>, id: &str) -> Result<Display, ShowError> {
    table.only(&["name", "source", "peak", "primaries", "limit", "transfer", "white"])?;
    let text = |key: &str, otherwise: &str| -> Result<Cow<'static, str>, ShowError> {
        let found = table.text_or_none(key, "a text")?;
        Ok(Cow::Owned(found.map_or(otherwise, |(_, text)| text).to_owned()))
    };
    let (peak_at, peak) = table.number("peak", PEAKS, ACCEPTED_PEAKS)?;
    let (at, primaries) = read_primaries(table, "primaries")?.ok_or_else(|| {
        table.source.wrong(table.at, format!("[display.{id}] lacks primaries"), ACCEPTED_PRIMARIES)
    })?;
    check_primaries(&primaries).map_err(|(what, accepted)| table.source.wrong(at, what, accepted))?;
    let (limit_at, limit) = read_primaries(table, "limit")?.unwrap_or((at, primaries));
    check_primaries(&limit)
        .and_then(|()| check_limit(&limit, &primaries))
        .map_err(|(what, accepted)| table.source.wrong(limit_at, what, accepted))?;
    let (at, transfer) = table.text("transfer", ACCEPTED_TRANSFERS)?;
    let curve = transfer_from_text(transfer, peak)
        .ok_or_else(|| table.source.wrong(at, format!("transfer is {transfer:?}"), ACCEPTED_TRANSFERS))?;
    if matches!(curve, Curve::Hlg { .. }) {
        if primaries != BT2020 {
            let what = "transfer is hlg and primaries are not bt2020";
            return Err(table.source.wrong(
                at,
                what,
                "hlg with bt2020, whose luminance its system gamma is on",
            ));
        }
        if !HLG_PEAKS.contains(&peak) {
            let what = format!("transfer is hlg and peak is {peak}");
            return Err(table.source.wrong(
                peak_at,
                what,
                "400 to 2000 cd/m², as BT.2100-2 has its system gamma",
            ));
        }
    }
    let white = table.word_or_none("white", "d60, own", |text| match text {
        "d60" => Some(White::D60),
        "own" => Some(White::Own),
        _ => None,
    })?;
    let display = Display {
        id: Cow::Owned(id.to_owned()),
        name: text("name", id)?,
        source: text("source", "written out in TOML")?,
        curve,
        primaries,
        limit,
        peak,
        white: white.unwrap_or_default(),
    };
    check_white(&display).map_err(|(what, accepted)| table.source.wrong(limit_at, what, accepted))?;
    Ok(display)
}

fn read_primaries(table: &Table<'_>, key: &str) -> Result<Option<(usize, Primaries)>, ShowError> {
    if let Some((at, text)) = table.text_if_it_is_one(key) {
        let found = PRIMARIES.iter().find(|(name, _)| *name == text);
        let found =
            found.ok_or_else(|| table.source.wrong(at, format!("{key} is {text:?}"), ACCEPTED_PRIMARIES))?;
        return Ok(Some((at, found.1)));
    }
    let Some(points) = table.table_or(key, ACCEPTED_PRIMARIES)? else { return Ok(None) };
    points.only(&["red", "green", "blue", "white"])?;
    let rgb = [points.point("red")?, points.point("green")?, points.point("blue")?];
    Ok(Some((points.at, Primaries { rgb, white: points.point("white")? })))
}

/// Why primaries cannot be used, and what could.
type Refused = (String, &'static str);

/// Least area of a triangle of primaries (BT.709's is 0.11).
const LEAST_AREA: f64 = 0.01;
/// Least y of a primary.
const LEAST_Y: f64 = 0.001;
/// Least share of white's luminance that each primary has (BT.2020's blue has 0.059).
const LEAST_SHARE: f64 = 0.005;

fn check_primaries(p: &Primaries) -> Result<(), Refused> {
    let [r, g, b] = p.rgb;
    let area = 0.5 * ((g[0] - r[0]) * (b[1] - r[1]) - (g[1] - r[1]) * (b[0] - r[0]));
    if area.abs() < LEAST_AREA {
        let what = "red, green and blue lie on a line or near one another".to_owned();
        return Err((what, "three primaries that span a gamut"));
    }
    if area < 0.0 {
        let what = "red, green and blue go round clockwise".to_owned();
        return Err((what, "red, green and blue in this order"));
    }
    if p.rgb.iter().chain([&p.white]).any(|xy| xy[1] < LEAST_Y) {
        return Err(("a y is next to 0 or below".to_owned(), "y of 0.001 and more"));
    }
    let shares = p.to_xyz();
    if (0..3).any(|c| shares.0[1][c] < LEAST_SHARE) {
        let what = "white is not inside the triangle of red, green and blue".to_owned();
        return Err((what, "a white that all three primaries are part of"));
    }
    Ok(())
}

/// How far outside a gamut primaries may lie, in its linear light.
const BESIDE: f64 = -0.005;

fn check_limit(limit: &Primaries, primaries: &Primaries) -> Result<(), Refused> {
    let within = |of: &Primaries| {
        let matrix = conversion(limit, of, Adaptation::Bradford);
        matrix.0.iter().flatten().all(|x| *x >= BESIDE)
    };
    if !within(&AP1) {
        let what = "the colours that the picture keeps within go beyond ACEScg's".to_owned();
        return Err((what, "a limit within ACEScg's primaries, as bt2020 is"));
    }
    if !within(primaries) {
        let what = "limit goes beyond primaries".to_owned();
        return Err((what, "a limit that the primaries of the signal can show"));
    }
    Ok(())
}

/// A white that is simulated must be one that the limit's and the signal's primaries can mix.
fn check_white(display: &Display) -> Result<(), Refused> {
    let seen = display.widening().unwrap_or(Matrix::IDENTITY);
    let is_mixed = || check_primaries(&display.limiting()).is_ok();
    if display.white == White::Own || is_mixed() && seen.0.iter().flatten().all(|x| *x >= BESIDE) {
        return Ok(());
    }
    let what = "white is d60, and these primaries cannot mix that, or only just".to_owned();
    Err((what, "primaries with xy 0.32168 0.33767 well inside, or white = \"own\""))
}

/// The curve that a text names.
fn transfer_from_text(text: &str, peak: f64) -> Option<Curve> {
    Some(match text {
        "bt1886" => Curve::Power { gamma: 2.4 },
        "srgb" => display("srgb")?.curve,
        "pq" => Curve::Pq { peak },
        "hlg" => Curve::Hlg { peak },
        "linear" => Curve::Linear,
        _ => {
            let gamma: f64 = text.strip_prefix("gamma ")?.parse().ok()?;
            (1.0..=4.0).contains(&gamma).then_some(Curve::Power { gamma })?
        }
    })
}

/// How files write a curve that [`transfer_from_text`] can give.
fn transfer_text(curve: &Curve) -> String {
    match curve {
        Curve::Power { gamma: 2.4 } => "bt1886".to_owned(),
        Curve::Power { gamma } => format!("gamma {gamma}"),
        Curve::Pq { .. } => "pq".to_owned(),
        Curve::Hlg { .. } => "hlg".to_owned(),
        Curve::Linear => "linear".to_owned(),
        _ => "srgb".to_owned(),
    }
}

/// A display as a `[display.NAME]` table.
pub(super) fn write_display(out: &mut String, display: &Display) {
    out.push_str(&format!("\n[display.{}]\n", display.id));
    line(out, "name", quoted(&display.name));
    line(out, "source", quoted(&display.source));
    line(out, "peak", number(display.peak));
    line(out, "primaries", primaries_text(&display.primaries));
    if display.limit != display.primaries {
        line(out, "limit", primaries_text(&display.limit));
    }
    line(out, "transfer", quoted(&transfer_text(&display.curve)));
    if display.white == White::D60 {
        line(out, "white", quoted("d60"));
    }
}

fn primaries_text(p: &Primaries) -> String {
    if let Some((name, _)) = PRIMARIES.iter().find(|(_, known)| known == p) {
        return quoted(name);
    }
    let point = |xy: [f64; 2]| format!("[{}, {}]", number(xy[0]), number(xy[1]));
    let [r, g, b] = p.rgb.map(point);
    format!("{{ red = {r}, green = {g}, blue = {b}, white = {} }}", point(p.white))
}
