//! Why a file does not become a recording, in words that say what to do.

use crate::unit::Seconds;

/// Why a file cannot be read. Each names the file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LoadError {
    /// The file is missing.
    #[error("there is no file `{name}`: check its name and folder")]
    Missing {
        /// The file as the player named it.
        name: String,
    },
    /// The file exists but cannot be opened or read.
    #[error("`{name}` cannot be read ({why}): check that it is a file and that you may read it")]
    Unreadable {
        /// The file as the player named it.
        name: String,
        /// The system's reason.
        why: std::io::Error,
    },
    /// A folder instead of a file.
    #[error("`{name}` is a folder: name a recording inside it")]
    Folder {
        /// The folder as the player named it.
        name: String,
    },
    /// Not one byte in it.
    #[error("`{name}` is an empty file: copy or export it again")]
    NoBytes {
        /// The file as the player named it.
        name: String,
    },
    /// No known format, or no sound track inside.
    #[error(
        "`{name}` is not a recording in a format that can be read: \
         convert it to WAV or FLAC (AIFF, MP3, M4A, Ogg, Opus and videos work too)"
    )]
    NotAudio {
        /// The file as the player named it.
        name: String,
    },
    /// A known format that is not read.
    #[error(
        "`{name}` is {what}, which cannot be read: convert it to WAV or FLAC with any converter \
         (for instance: ffmpeg -i INPUT output.wav)"
    )]
    Foreign {
        /// The file as the player named it.
        name: String,
        /// What it is.
        what: &'static str,
    },
    /// A known format, of which nothing could be decoded.
    #[error(
        "no sound can be read from `{name}` ({why}): it may be cut off; copy or export it again"
    )]
    Damaged {
        /// The file as the player named it.
        name: String,
        /// What the decoder met.
        why: String,
    },
    /// No frame of sound.
    #[error("`{name}` holds no sound at all: record or export it again")]
    Empty {
        /// The file as the player named it.
        name: String,
    },
    /// A rate outside 8 to 192 kHz.
    #[error(
        "`{name}` has a sample rate of {rate} Hz, outside 8,000 to 192,000 Hz: \
         convert it to 44,100 or 48,000 Hz"
    )]
    Rate {
        /// The file as the player named it.
        name: String,
        /// Its rate in Hz.
        rate: u32,
    },
    /// More sound than is held in memory.
    #[error(
        "`{name}` is longer than the {} that fit in memory at its rate and number of channels: \
         give a part of it with --from-s and --to-s, or save the tune as a file of its own",
        minutes(*.most)
    )]
    TooLong {
        /// The file as the player named it.
        name: String,
        /// The longest stretch that fits.
        most: Seconds,
    },
    /// Too long for memory, and no room on the disk.
    #[error(
        "`{name}` is too long for memory, and the disk for temporary files cannot take it ({why}): \
         free some space, or name another folder in TMPDIR"
    )]
    Disk {
        /// The file as the player named it.
        name: String,
        /// The system's reason.
        why: std::io::Error,
    },
    /// The part asked for lies outside the recording.
    #[error("the part from {from:.2} s on lies after the end of `{name}` ({end:.2} s): choose an earlier one", from = .from.0, end = .end.0)]
    Outside {
        /// The file as the player named it.
        name: String,
        /// Where the part begins.
        from: Seconds,
        /// Where the recording ends.
        end: Seconds,
    },
}

fn minutes(length: Seconds) -> String {
    let whole = (length.0 / 60.0).floor();
    if whole >= 1.0 {
        format!("{whole:.0} minutes")
    } else {
        format!("{:.0} seconds", length.0)
    }
}
