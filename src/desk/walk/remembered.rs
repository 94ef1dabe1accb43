//! That the walk was offered, kept in the user's own folder.

use std::path::PathBuf;

use crate::show::own_panels_folder;

/// A small file that says so; `None` where a user has no folder of their own.
#[derive(Clone, Debug)]
pub(in super::super) struct Remembered(Option<PathBuf>);

impl Remembered {
    /// In the user's folder.
    pub fn own() -> Self {
        // Beside the folder of panel maps.
        Self(own_panels_folder().and_then(|folder| Some(folder.parent()?.join("walk"))))
    }

    /// In a file.
    #[cfg(test)]
    pub fn at(file: PathBuf) -> Self {
        Self(Some(file))
    }

    /// Was it offered before? Where nothing can be remembered it counts as offered, or it would be every time.
    pub fn was_offered(&self) -> bool {
        self.0.as_ref().is_none_or(|file| file.exists())
    }

    /// It is offered now. Disks may be slow: on another thread. What cannot be written is offered again.
    pub fn offered(&self) {
        let Some(file) = self.0.clone() else { return };
        rayon::spawn(move || {
            if let Some(folder) = file.parent() {
                let _ = std::fs::create_dir_all(folder);
            }
            let _ =
                std::fs::write(file, "The first walk was offered. Without this file it is offered again.\n");
        });
    }
}
