//! Show: the document. A folder with `show.toml`: a running order of shots, one chain, outputs.
//!
//! A [`Show`] changes only through [`Change`] values given to [`Show::apply`], so that undo, autosave,
//! panel feedback and viewers all listen to one stream. [`Address`] names a parameter as a person or a
//! panel map writes it; [`Slot`] is where that is in a given show. Nothing here starts a thread or reads
//! a clock: the times come from the caller.

mod address;
mod cdl_safe;
mod change;
mod display_file;
mod document;
mod error;
mod file;
mod history;
mod library;
mod look_file;
mod lut_file;
mod neutral;
mod proposal;
mod push;
mod reader;
mod record;
mod regrade;
mod save;
mod shipped;
mod shot_trim;
mod snapshot;
mod still;
mod take;
mod version;
mod writer;

pub use address::{Address, LOOK_STRENGTH, Part, Slot, Which, addresses, check_address, display_address};
pub use cdl_safe::NOT_CARRIED;
pub use change::Change;
pub use display_file::{DISPLAY_FILES, known_display, known_displays, read_displays, shipped_displays};
pub use document::{
    MAX_FRAME, Output, OutputSettings, Outputs, Shot, Show, raster_from_text, raster_text, rate_from_text,
    rate_text, source_in_show,
};
pub use error::ShowError;
pub use file::{SHOW_FILE, VERSION, load, read, save, write};
pub use history::{GESTURE_GAP, History, MOST_STEPS};
pub use library::{
    About, LOOKS_FOLDER, LibraryLook, Shelf, find_look, library, library_of, look_file_stem, look_named,
    own_desk_file, own_looks_folder, own_panels_folder,
};
pub use look_file::{
    Base, Look, LookFile, is_look_file, list_looks, load_look, load_look_file, read_look, save_look,
    save_look_file, write_look, write_look_file,
};
pub use lut_file::{is_lut_file, load_lut, load_lut_as};
pub use proposal::{Aim, PROPOSED, Proposal, balanced_grey, balanced_picture};
pub use push::Pusher;
pub use record::utc;
pub use regrade::{Portion, Regrade};
pub use save::{AUTOSAVE_AFTER, Autosave, LOCK_FILE, Lock, write_atomically};
pub use shipped::{LOOK_FILES, shipped_looks};
pub use shot_trim::{
    Group, STRENGTH_TRIM, StageKey, StrengthTrim, TrimAddress, TrimOf, stage_keys, strength_trim,
};
pub use snapshot::recipe;
pub use still::{
    NewStill, STILLS_FOLDER, Still, StillFrame, keep_still, note_still, remove_still, rename_still,
    still_settings, stills,
};
pub use version::{
    GradeVersion, VERSIONS_FOLDER, keep_version, load_version, remove_version, rename_version, versions,
};
