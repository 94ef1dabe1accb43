//! The document's data.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{Group, ShowError, StrengthTrim, known_display, known_displays};
use crate::colour::{DISPLAYS, Display, Encoding, OUTPUT_TRANSFORMS, OutputTransform, Range, YcbcrMatrix};
use crate::look::{Chain, NamedLut};
use crate::picture::{Balance, Framing, MAX_SIDE, ShowLut, Tail, Trim};

/// The greatest `end` of a shot: a frame's number seeds its noise, and that seed has 32 bits.
pub const MAX_FRAME: u64 = u32::MAX as u64;

/// What is being graded.
#[derive(Clone, Debug, PartialEq)]
pub struct Show {
    /// What people call it.
    pub name: String,
    /// Frames a second, as an exact fraction: (24000, 1001) is 23.976….
    pub rate: (u32, u32),
    /// Size of every output, across and down; `None`: that of the first shot's frames.
    pub raster: Option<(u32, u32)>,
    /// Scene light to display light, for every output.
    pub transform: OutputTransform,
    /// The table of [`OutputTransform::Lut`]; there with that, and only with that.
    pub show_lut: Option<Arc<ShowLut>>,
    /// Displays of its own, beside those that come with the program.
    pub displays: Vec<Arc<Display>>,
    /// The display of each output, and what else is the output's own.
    pub outputs: Outputs,
    /// Groups that shots may belong to. No two have the same name.
    pub groups: Vec<Group>,
    /// The running order. No two have the same name.
    pub shots: Vec<Shot>,
    /// The stages, the same for every shot.
    pub chain: Chain,
    /// Names of the panel maps that the show asks for.
    pub panels: Vec<String>,
    /// Is balance held to what an ASC CDL on ACEScct carries exactly?
    pub cdl_safe: bool,
}

impl Show {
    /// An empty show: 24 frames a second, the first shot's raster, the default transform and displays, no shots, no stages.
    pub fn new(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            rate: (24, 1),
            raster: None,
            transform: OUTPUT_TRANSFORMS[0],
            show_lut: None,
            displays: Vec::new(),
            outputs: Outputs::default(),
            groups: Vec::new(),
            shots: Vec::new(),
            chain: Chain::default(),
            panels: Vec::new(),
            cdl_safe: false,
        }
    }

    /// The tail of a recipe for one of its outputs.
    pub fn tail(&self, output: Output) -> Tail {
        self.tail_of(self.outputs.get(output))
    }

    /// The tail of a recipe for an output that is set so.
    pub fn tail_of(&self, output: &OutputSettings) -> Tail {
        let display = output.display.clone();
        let tail = match (self.transform, &self.show_lut) {
            (OutputTransform::Lut, Some(lut)) => Tail::by_lut(lut.clone(), display),
            (transform, _) => Tail::display(transform, display),
        };
        tail.trimmed(output.trim).calibrated(output.calibration.as_ref().map(|c| c.lut.clone()))
    }

    /// The display called `id`, of its own or of those that come with the program.
    pub fn display(&self, id: &str) -> Option<Arc<Display>> {
        self.displays.iter().find(|d| d.id == id).cloned().or_else(|| known_display(id))
    }

    /// Every display there is for it: those that come with the program, then its own.
    pub fn all_displays(&self) -> impl Iterator<Item = Arc<Display>> {
        known_displays().chain(self.displays.iter().cloned())
    }

    /// The display `by` places after an output's in the list of all that can be shown there; the first or the last at
    /// its ends.
    pub fn display_beside(&self, output: Output, by: i32) -> Arc<Display> {
        let now = &self.outputs.get(output).display;
        let all: Vec<_> = self.all_displays().filter(|d| self.check_display(d).is_ok()).collect();
        let at = all.iter().position(|d| d.id == now.id).unwrap_or(0);
        let to = at.saturating_add_signed(by as isize).min(all.len().saturating_sub(1));
        all.get(to).unwrap_or(now).clone()
    }

    /// Refuses a display whose peak the show's own table passes.
    ///
    /// # Errors
    /// [`ShowError::Change`], with what would do.
    pub fn check_display(&self, display: &Display) -> Result<(), ShowError> {
        self.show_lut.as_ref().map_or(Ok(()), |lut| check_fits(lut, display))
    }

    /// `name` if no shot but `except` has it, else the first of `name 2`, `name 3`… that is free.
    pub(super) fn unique_name(&self, name: &str, except: Option<usize>) -> String {
        let taken = |n: &str| self.shots.iter().enumerate().any(|(i, s)| Some(i) != except && s.name == n);
        let name = if name.is_empty() { "shot" } else { name };
        if !taken(name) {
            return name.to_owned();
        }
        let mut number = 2u64;
        loop {
            let candidate = format!("{name} {number}");
            if !taken(&candidate) {
                return candidate;
            }
            number += 1;
        }
    }
}

/// A place where the picture goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Output {
    /// The operator's window.
    Desk,
    /// The client's window.
    Client,
    /// Rendered files.
    Files,
}

impl Output {
    /// Every output, in the order files list them.
    pub const ALL: [Self; 3] = [Self::Desk, Self::Client, Self::Files];

    /// What files and commands call it.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Desk => "desk",
            Self::Client => "client",
            Self::Files => "files",
        }
    }
}

/// What an output shows, and how.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputSettings {
    /// What the picture is encoded for.
    pub display: Arc<Display>,
    /// What its version differs in.
    pub trim: Trim,
    /// A table on the signal for its own monitor; the file is relative to the show's folder when inside it.
    pub calibration: Option<NamedLut>,
}

impl OutputSettings {
    /// A display, with no trim and no calibration.
    pub fn new(display: impl Into<Arc<Display>>) -> Self {
        Self { display: display.into(), trim: Trim::default(), calibration: None }
    }
}

/// What each output shows, and how.
#[derive(Clone, Debug, PartialEq)]
pub struct Outputs {
    /// The operator's window.
    pub desk: OutputSettings,
    /// The client's window.
    pub client: OutputSettings,
    /// Rendered files.
    pub files: OutputSettings,
}

impl Outputs {
    /// One of them.
    pub fn get(&self, output: Output) -> &OutputSettings {
        match output {
            Output::Desk => &self.desk,
            Output::Client => &self.client,
            Output::Files => &self.files,
        }
    }

    pub(super) fn get_mut(&mut self, output: Output) -> &mut OutputSettings {
        match output {
            Output::Desk => &mut self.desk,
            Output::Client => &mut self.client,
            Output::Files => &mut self.files,
        }
    }
}

impl Default for Outputs {
    fn default() -> Self {
        let first = OutputSettings::new(&DISPLAYS[0]);
        Self { desk: first.clone(), client: first.clone(), files: first }
    }
}

/// Refuses a display whose peak a table's picture passes.
pub(super) fn check_fits(lut: &ShowLut, display: &Display) -> Result<(), ShowError> {
    if lut.fits(display) {
        return Ok(());
    }
    Err(ShowError::change(
        format!(
            "{} gives the signal of {}, {} cd/m², and {} ends at {}: no table says how to render what is above",
            lut.lut.file.display(),
            lut.gives.id,
            lut.gives.peak,
            display.id,
            display.peak
        ),
        format!("a display of {} cd/m² or more, or another output transform", lut.gives.peak),
    ))
}

/// A range of a source, and how it is read and balanced. Equal when the encodings' ids and all else are.
#[derive(Clone, Debug)]
pub struct Shot {
    /// What people call it; its own within the show.
    pub name: String,
    /// Where the footage is: relative to the show's folder when inside it. See [`Shot::source_path`].
    pub source: PathBuf,
    /// The first frame, counted from 0 at the source's first; `in` in `show.toml`.
    pub start: u64,
    /// The first frame that no longer belongs to it: more than `start`; `out` in `show.toml`.
    pub end: u64,
    /// What the footage's values mean.
    pub encoding: &'static Encoding,
    /// Narrow or full, where the file's own word for it is not to be believed.
    pub range: Option<Range>,
    /// Luma weights, where the file's own word for them is not to be believed.
    pub matrix: Option<YcbcrMatrix>,
    /// The frame of its range that was chosen to stand for it, counted as `start` is: see [`Shot::representative`].
    pub chosen: Option<u64>,
    /// Where its frames lie in the raster.
    pub framing: Framing,
    /// Its technical correction.
    pub balance: Balance,
    /// Names of the show's groups that it belongs to.
    pub groups: Vec<String>,
    /// What it changes in the strength of the look and its stages, for itself.
    pub trim: StrengthTrim,
}

impl Shot {
    /// Frames `start..end` of a source, the whole of each in the raster, with nothing corrected.
    pub fn new(
        name: impl Into<String>,
        source: impl Into<PathBuf>,
        frames: std::ops::Range<u64>,
        encoding: &'static Encoding,
    ) -> Self {
        Self {
            name: name.into(),
            source: source.into(),
            start: frames.start,
            end: frames.end,
            encoding,
            range: None,
            matrix: None,
            chosen: None,
            framing: Framing::default(),
            balance: Balance::default(),
            groups: Vec::new(),
            trim: StrengthTrim::default(),
        }
    }

    /// Which frames of the source it shows.
    pub fn frames(&self) -> std::ops::Range<u64> {
        self.start..self.end
    }

    /// The frame that stands for it in pictures of the whole show, counted from 0 at the source's first: the one that was
    /// chosen, else the middle one.
    pub fn representative(&self) -> u64 {
        self.chosen.unwrap_or(self.start.midpoint(self.end))
    }

    /// Where the footage is, for a show in `folder`.
    pub fn source_path(&self, folder: &Path) -> PathBuf {
        folder.join(&self.source)
    }
}

impl PartialEq for Shot {
    fn eq(&self, other: &Self) -> bool {
        // Taken apart, so that a new field cannot be forgotten here.
        let Self {
            name,
            source,
            start,
            end,
            encoding,
            range,
            matrix,
            chosen,
            framing,
            balance,
            groups,
            trim,
        } = self;
        *name == other.name
            && *source == other.source
            && (*start, *end) == (other.start, other.end)
            && encoding.id == other.encoding.id
            && *range == other.range
            && *matrix == other.matrix
            && *chosen == other.chosen
            && *framing == other.framing
            && *balance == other.balance
            && *groups == other.groups
            && *trim == other.trim
    }
}

/// `source` as a show in `folder` keeps it: relative when inside the folder, absolute otherwise.
pub fn source_in_show(folder: &Path, source: &Path) -> PathBuf {
    let whole = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_owned());
    let real = |p: &Path| std::fs::canonicalize(p).unwrap_or_else(|_| whole(p));
    let inside = |folder: PathBuf, source: PathBuf| source.strip_prefix(folder).map(Path::to_owned);
    // Links are followed only if the path as written does not do, so that links inside the folder stay.
    inside(whole(folder), whole(source))
        .or_else(|_| inside(real(folder), real(source)))
        .unwrap_or_else(|_| whole(source))
}

/// What a rate may be, for messages.
pub(super) const RATES: &str = r#""24", "25", "30000/1001" and the like, from 1 to 1000 frames a second"#;

/// A rate as files write it: `24`, `24000/1001`.
pub fn rate_text(rate: (u32, u32)) -> String {
    if rate.1 == 1 { rate.0.to_string() } else { format!("{}/{}", rate.0, rate.1) }
}

/// The rate that a text like `24` or `24000/1001` means, if it is one from 1 to 1000 frames a second.
pub fn rate_from_text(text: &str) -> Option<(u32, u32)> {
    let (over, under) = text.split_once('/').unwrap_or((text, "1"));
    let number = |t: &str| {
        if t.bytes().all(|b| b.is_ascii_digit()) { t.parse().ok() } else { None }
    };
    let rate = (number(over)?, number(under)?);
    rate_is_usable(rate).then_some(rate)
}

pub(super) fn rate_is_usable((over, under): (u32, u32)) -> bool {
    under > 0 && over >= under && u64::from(over) <= 1000 * u64::from(under)
}

/// What a raster may be, for messages.
pub(super) const RASTERS: &str = r#""1920x1080" and the like, 1 to 16384 pixels either way"#;

/// A raster as files write it: `1920x1080`.
pub fn raster_text((width, height): (u32, u32)) -> String {
    format!("{width}x{height}")
}

/// The raster that a text like `1920x1080` means, across and down, if it is one of 1 to [`MAX_SIDE`]
/// pixels either way.
pub fn raster_from_text(text: &str) -> Option<(u32, u32)> {
    let (width, height) = text.split_once('x')?;
    let side = |t: &str| {
        if t.bytes().all(|b| b.is_ascii_digit()) { t.parse().ok() } else { None }
    };
    Some((side(width)?, side(height)?)).filter(|r| raster_is_usable(*r))
}

pub(super) fn raster_is_usable((width, height): (u32, u32)) -> bool {
    [width, height].iter().all(|side| (1..=MAX_SIDE).contains(side))
}

/// Refuses ranges that hold no frame or that reach too far.
pub(super) fn check_frames(start: u64, end: u64) -> Result<(), ShowError> {
    if start < end && end <= MAX_FRAME {
        return Ok(());
    }
    Err(ShowError::change(
        format!("a shot cannot run from frame {start} to before frame {end}"),
        format!("in less than out, out at most {MAX_FRAME}"),
    ))
}

/// Refuses a chosen frame that the shot does not show.
pub(super) fn check_chosen(shot: &Shot, chosen: Option<u64>) -> Result<(), ShowError> {
    match chosen.filter(|frame| !shot.frames().contains(frame)) {
        None => Ok(()),
        Some(frame) => Err(ShowError::change(
            format!("frame {frame} cannot stand for {:?}, which does not show it", shot.name),
            format!("a frame from {} to {}", shot.start, shot.end - 1),
        )),
    }
}

/// What files call the two ranges.
pub(super) const RANGES: [(&str, Range); 2] = [("narrow", Range::Narrow), ("full", Range::Full)];

/// What files call the luma weights.
pub(super) const MATRICES: [(&str, YcbcrMatrix); 3] =
    [("bt601", YcbcrMatrix::Bt601), ("bt709", YcbcrMatrix::Bt709), ("bt2020", YcbcrMatrix::Bt2020)];
