//! Tables from files.

use std::path::Path;
use std::sync::Arc;

use super::ShowError;
use crate::interchange::cube::Cube;
use crate::look::NamedLut;

/// Reads the `.cube` file `file`, relative to `folder` if it is not absolute; the name is kept as given.
///
/// # Errors
/// [`ShowError::Io`] when it cannot be read; [`ShowError::Lut`] with its line and what is accepted when it is not
/// a `.cube` file.
pub fn load_lut(folder: &Path, file: &Path) -> Result<NamedLut, ShowError> {
    if file.to_str().is_none() {
        return Err(ShowError::Path(file.to_owned()));
    }
    let path = folder.join(file);
    let io = |source| ShowError::Io { doing: "read", path: path.clone(), source };
    let bytes = std::fs::read(&path).map_err(io)?;
    let cube = Cube::read(&bytes).map_err(|error| ShowError::Lut { file: path.clone(), error })?;
    Ok(NamedLut { file: file.to_owned(), lut: Arc::new(cube.lut) })
}
