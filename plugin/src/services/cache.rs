//! Decoded recordings and analyses of the whole process: instances that open the same sound share
//! it. The cache keeps nothing alive; what no instance uses is gone.
//!
//! Of the recording that was corrected last it holds the evidence for its beats, so that the next correction is
//! answered without weighing all of it again.

use crate::lock::locked;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, Weak};
use std::time::SystemTime;
use thumbline::analysis::Analysis;
use thumbline::analysis::beat::Tracker;
use thumbline::music::tuning::Tuning;
use thumbline::recording::{ContentHash, Recording};

/// A file as it was when it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileKey {
    path: PathBuf,
    bytes: u64,
    changed: Option<SystemTime>,
}

impl FileKey {
    /// The file as it is now; none where it cannot be looked at.
    pub fn of(path: &Path) -> Option<Self> {
        let meta = std::fs::metadata(path).ok()?;
        Some(Self {
            path: path.to_owned(),
            bytes: meta.len(),
            changed: meta.modified().ok(),
        })
    }
}

struct CachedSound {
    file: Option<FileKey>,
    hash: ContentHash,
    rate: u32,
    sound: Weak<Recording>,
}

struct CachedAnalysis {
    hash: ContentHash,
    tuning: Option<Tuning>,
    analysis: Weak<Analysis>,
}

#[derive(Default)]
struct Cache {
    sounds: Vec<CachedSound>,
    heard: Vec<CachedAnalysis>,
    /// The evidence for the beats of the recording that was corrected last.
    tracker: Option<(Weak<Analysis>, Arc<Tracker>)>,
}

static CACHE: Mutex<Cache> = Mutex::new(Cache {
    sounds: Vec::new(),
    heard: Vec::new(),
    tracker: None,
});

fn cache() -> MutexGuard<'static, Cache> {
    let mut cache = locked(&CACHE);
    cache.sounds.retain(|s| s.sound.strong_count() > 0);
    cache.heard.retain(|h| h.analysis.strong_count() > 0);
    cache
        .tracker
        .take_if(|(heard, _)| heard.strong_count() == 0);
    cache
}

/// The sound of this very file at a rate, with the hash of its content.
pub fn by_file(file: &FileKey, rate: u32) -> Option<(Arc<Recording>, ContentHash)> {
    cache()
        .sounds
        .iter()
        .filter(|s| s.rate == rate && s.file.as_ref() == Some(file))
        .find_map(|s| Some((s.sound.upgrade()?, s.hash)))
}

/// Puts a sound in the cache, or gives the one that is there already.
pub fn share(file: Option<FileKey>, hash: ContentHash, sound: Arc<Recording>) -> Arc<Recording> {
    let rate = sound.rate();
    let mut cache = cache();
    let known = cache
        .sounds
        .iter()
        .filter(|s| s.rate == rate && s.hash == hash)
        .find_map(|s| s.sound.upgrade());
    let sound = known.unwrap_or(sound);
    cache.sounds.push(CachedSound {
        file,
        hash,
        rate,
        sound: Arc::downgrade(&sound),
    });
    sound
}

/// What another instance has heard in the same sound, in the same tuning.
pub fn heard(hash: ContentHash, tuning: Option<&Tuning>) -> Option<Arc<Analysis>> {
    cache()
        .heard
        .iter()
        .filter(|h| h.hash == hash && h.tuning.as_ref() == tuning)
        .find_map(|h| h.analysis.upgrade())
}

/// Shares what was heard.
pub fn share_heard(hash: ContentHash, tuning: Option<Tuning>, analysis: &Arc<Analysis>) {
    cache().heard.push(CachedAnalysis {
        hash,
        tuning,
        analysis: Arc::downgrade(analysis),
    });
}

/// What the beats of `heard` are solved from, weighed once for all corrections of it.
pub fn tracker(heard: &Arc<Analysis>) -> Arc<Tracker> {
    let same = |of: &Weak<Analysis>| of.ptr_eq(&Arc::downgrade(heard));
    if let Some((of, tracker)) = &cache().tracker
        && same(of)
    {
        return Arc::clone(tracker);
    }
    // Weighing takes a while: nobody waits for the lock meanwhile.
    let tracker = Arc::new(Tracker::new(&heard.notes, heard.end));
    cache().tracker = Some((Arc::downgrade(heard), Arc::clone(&tracker)));
    tracker
}
