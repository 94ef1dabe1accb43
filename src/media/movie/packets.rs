//! Encoded frames in files of their own, on the way to a movie.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Write};
use std::path::Path;

use super::tags::ContentLight;
use crate::media::MediaError;
use crate::media::image_file::Temporary;

/// What a file of packets begins with.
const MAGIC: &[u8; 8] = b"ghgroup1";

/// A frame as an encoder gave it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Coded {
    /// Its number in the movie, from 0.
    pub number: u64,
    /// Can decoding begin with it?
    pub key: bool,
    /// The packet.
    pub data: Vec<u8>,
}

/// Frames that need no others to be decoded, in the order of decoding.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Group {
    /// The frames.
    pub frames: Vec<Coded>,
    /// The light in them, where that was measured.
    pub light: Option<ContentLight>,
}

impl Group {
    /// Writes it. The file appears at once and complete.
    ///
    /// # Errors
    /// What the system says.
    pub fn write(&self, path: &Path) -> Result<(), MediaError> {
        let temporary = Temporary::beside(path)?;
        let mut out = BufWriter::with_capacity(1 << 18, temporary.create(path)?);
        let written = self.put(&mut out).and_then(|()| out.flush());
        written.map_err(|e| MediaError::io(path, "written", e))?;
        drop(out);
        temporary.keep_as(path)
    }

    fn put(&self, out: &mut impl Write) -> io::Result<()> {
        out.write_all(MAGIC)?;
        out.write_all(&(self.frames.len() as u64).to_le_bytes())?;
        let light = self.light.map_or([f64::NAN; 2], |l| [l.most, l.most_mean]);
        light.iter().try_for_each(|v| out.write_all(&v.to_le_bytes()))?;
        for frame in &self.frames {
            out.write_all(&frame.number.to_le_bytes())?;
            out.write_all(&(frame.data.len() as u64 | u64::from(frame.key) << 63).to_le_bytes())?;
            out.write_all(&frame.data)?;
        }
        // Last, so that a file whose end is missing is seen.
        out.write_all(MAGIC)
    }

    /// The light in the frames of a file, without reading them.
    ///
    /// # Errors
    /// As for [`Group::read`].
    pub fn light_of(path: &Path) -> Result<Option<ContentLight>, MediaError> {
        let mut head = [0u8; 32];
        let read = File::open(path).and_then(|mut f| f.read_exact(&mut head));
        read.map_err(|e| MediaError::io(path, "read", e))?;
        let number = |at: usize| f64::from_le_bytes(std::array::from_fn(|i| head[at + i]));
        Ok((!number(16).is_nan()).then(|| ContentLight { most: number(16), most_mean: number(24) }))
    }

    /// Reads it.
    ///
    /// # Errors
    /// What the system says; a file that is no group, or not whole.
    pub fn read(path: &Path) -> Result<Self, MediaError> {
        let file = File::open(path).map_err(|e| MediaError::io(path, "read", e))?;
        let length = file.metadata().map_err(|e| MediaError::io(path, "read", e))?.len();
        Self::get(&mut BufReader::new(file), length).map_err(|e| match e.kind() {
            io::ErrorKind::UnexpectedEof | io::ErrorKind::InvalidData => MediaError::refused(
                path,
                "it does not hold the frames that were written to it",
                "a whole file; remove it",
            ),
            _ => MediaError::io(path, "read", e),
        })
    }

    fn get(from: &mut impl Read, length: u64) -> io::Result<Self> {
        let damaged = || io::Error::from(io::ErrorKind::InvalidData);
        let mut number = || -> io::Result<[u8; 8]> {
            let mut bytes = [0; 8];
            from.read_exact(&mut bytes)?;
            Ok(bytes)
        };
        if number()? != *MAGIC {
            return Err(damaged());
        }
        let count = u64::from_le_bytes(number()?);
        let light = [f64::from_le_bytes(number()?), f64::from_le_bytes(number()?)];
        let light = (!light[0].is_nan()).then_some(ContentLight { most: light[0], most_mean: light[1] });
        let mut frames = Vec::new();
        for _ in 0..count {
            let mut words = [[0; 8]; 2];
            words.iter_mut().try_for_each(|w| from.read_exact(w))?;
            let (place, size) = (u64::from_le_bytes(words[0]), u64::from_le_bytes(words[1]));
            let bytes = size & !(1 << 63);
            if bytes > length {
                return Err(damaged());
            }
            let mut data = vec![0; bytes as usize];
            from.read_exact(&mut data)?;
            frames.push(Coded { number: place, key: size >> 63 == 1, data });
        }
        let mut end = [0; 8];
        from.read_exact(&mut end)?;
        if end != *MAGIC || from.read(&mut [0])? != 0 {
            return Err(damaged());
        }
        Ok(Self { frames, light })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_read_as_written_and_broken_ones_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("g");
        let group = Group {
            frames: vec![
                Coded { number: 4, key: true, data: vec![1, 2, 3] },
                Coded { number: 6, key: false, data: vec![] },
                Coded { number: 5, key: false, data: vec![9; 700] },
            ],
            light: Some(ContentLight { most: 812.5, most_mean: 40.0 }),
        };
        group.write(&path).unwrap();
        assert_eq!(Group::read(&path).unwrap(), group);
        assert_eq!(Group::light_of(&path).unwrap(), group.light);
        let whole = std::fs::read(&path).unwrap();
        for cut in 0..whole.len() {
            std::fs::write(&path, &whole[..cut]).unwrap();
            assert!(Group::read(&path).is_err(), "cut at {cut}");
        }
        std::fs::write(&path, [&whole[..], b"x"].concat()).unwrap();
        assert!(Group::read(&path).is_err());
        let mut large = whole.clone();
        large[47] = 0x7f;
        std::fs::write(&path, large).unwrap();
        assert!(Group::read(&path).is_err(), "a size beyond the file's");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1, "nothing is left beside it");
    }
}
