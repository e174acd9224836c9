//! A folder that is looked through for a file.

use std::path::PathBuf;

/// What a file is looked for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum For {
    /// To be opened as the recording.
    #[default]
    Recording,
    /// To be laid over the recording as a take.
    Take,
    /// Written notes, to be the picking pattern.
    Pattern,
    /// Written notes, to be the melody that is moved against the beat.
    Melody,
}

impl For {
    /// What is done with it, as a heading.
    pub fn heading(self) -> &'static str {
        match self {
            Self::Recording => "Open a recording",
            Self::Take => "Load a take",
            Self::Pattern => "Take a pattern from MIDI or MusicXML",
            Self::Melody => "Take a melody from MIDI or MusicXML",
        }
    }

    /// Is it sound, rather than written notes?
    pub fn is_sound(self) -> bool {
        matches!(self, Self::Recording | Self::Take)
    }
}

/// A folder's recordings and folders.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FolderView {
    /// What the file is for.
    pub purpose: For,
    /// The folder.
    pub path: PathBuf,
    /// Folders in it, by name.
    pub folders: Vec<PathBuf>,
    /// Files in it that can be opened, by name.
    pub files: Vec<PathBuf>,
    /// Why it cannot be looked into, where that is so.
    pub fault: Option<String>,
}
