//! A network folder that stalls: what reads or writes there waits for ever, and nobody else does.
//!
//! The folder is a file system of this test's own (FUSE), which answers or keeps silent.

use crate::bench::{Bench, RATE};
use crate::faults::in_own_folder;
use crate::rig::recording;
use fuser::{
    BackgroundSession, Config, Errno, FileAttr, FileHandle, FileType, Filesystem, Generation,
    INodeNo, LockOwner, MountOption, OpenFlags, ReplyAttr, ReplyData, ReplyDirectory, ReplyEntry,
    Request,
};
use std::ffi::OsStr;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant, UNIX_EPOCH};
use thumbline_plugin::command::Command;
use thumbline_plugin::data::data_dir;
use thumbline_plugin::instance::Instance;
use thumbline_plugin::snapshot::RecordingView;

/// How long the system may hold on to what it was told.
const FOR_ONCE: Duration = Duration::ZERO;
/// The files, each with the number by its place, from two.
const FILES: [&str; 3] = ["one.wav", "other.wav", "third.wav"];
/// How soon an instance is gone.
const SOON: Duration = Duration::from_millis(2_700);

/// A question that waits.
enum Held {
    Data(ReplyData),
    Entry(ReplyEntry),
    Directory(ReplyDirectory),
}

/// A folder with files of the same bytes, which stalls when it is told to.
#[derive(Clone, Default)]
struct Folder {
    bytes: Arc<Vec<u8>>,
    stalls: Arc<AtomicBool>,
    held: Arc<Mutex<Vec<Held>>>,
}

impl Folder {
    fn holds(&self, question: Held) {
        self.held.lock().expect("no panic").push(question);
    }

    fn stalls(&self) -> bool {
        self.stalls.load(Ordering::Acquire)
    }

    /// How many questions wait.
    fn waiting(&self) -> usize {
        self.held.lock().expect("no panic").len()
    }

    /// Whoever waits is told that there is nothing.
    fn answer(&self) {
        self.stalls.store(false, Ordering::Release);
        for held in self.held.lock().expect("no panic").drain(..) {
            match held {
                Held::Data(reply) => reply.error(Errno::EIO),
                Held::Entry(reply) => reply.error(Errno::EIO),
                Held::Directory(reply) => reply.error(Errno::EIO),
            }
        }
    }

    fn attributes(&self, ino: INodeNo) -> FileAttr {
        let (kind, perm, size) = match ino {
            INodeNo::ROOT => (FileType::Directory, 0o755, 0),
            _ => (FileType::RegularFile, 0o644, self.bytes.len() as u64),
        };
        let (atime, mtime, ctime, crtime) = (UNIX_EPOCH, UNIX_EPOCH, UNIX_EPOCH, UNIX_EPOCH);
        FileAttr {
            ino,
            size,
            blocks: size.div_ceil(512),
            atime,
            mtime,
            ctime,
            crtime,
            kind,
            perm,
            nlink: 1,
            uid: 0,
            gid: 0,
            rdev: 0,
            flags: 0,
            blksize: 4096,
        }
    }

    /// The folder at `at`; none where this machine lets nobody mount one.
    fn mounted(&self, at: &Path) -> Option<Mounted> {
        std::fs::create_dir_all(at).expect("a folder");
        let mut config = Config::default();
        config.mount_options = vec![MountOption::FSName("stalls".into())];
        match fuser::spawn_mount(self.clone(), at, &config) {
            Ok(session) => Some(Mounted(self.clone(), Some(session))),
            Err(why) => {
                println!("skipped: a folder that stalls (no FUSE here: {why})");
                None
            }
        }
    }
}

/// A folder that is there; whoever waits at the end is answered before it goes.
struct Mounted(Folder, Option<BackgroundSession>);

impl Drop for Mounted {
    fn drop(&mut self) {
        self.0.answer();
        drop(self.1.take());
    }
}

impl Filesystem for Folder {
    fn lookup(&self, _: &Request, _: INodeNo, name: &OsStr, reply: ReplyEntry) {
        let place = FILES.iter().position(|file| name == *file);
        match place.filter(|_| !self.bytes.is_empty()) {
            Some(place) => {
                let found = self.attributes(INodeNo(2 + place as u64));
                reply.entry(&FOR_ONCE, &found, Generation(0));
            }
            None if self.stalls() => self.holds(Held::Entry(reply)),
            None => reply.error(Errno::ENOENT),
        }
    }

    fn getattr(&self, _: &Request, ino: INodeNo, _: Option<FileHandle>, reply: ReplyAttr) {
        reply.attr(&FOR_ONCE, &self.attributes(ino));
    }

    fn read(
        &self,
        _: &Request,
        _: INodeNo,
        _: FileHandle,
        offset: u64,
        size: u32,
        _: OpenFlags,
        _: Option<LockOwner>,
        reply: ReplyData,
    ) {
        if self.stalls() {
            self.holds(Held::Data(reply));
            return;
        }
        let from = (offset as usize).min(self.bytes.len());
        let to = (from + size as usize).min(self.bytes.len());
        reply.data(&self.bytes[from..to]);
    }

    fn readdir(&self, _: &Request, _: INodeNo, _: FileHandle, _: u64, reply: ReplyDirectory) {
        if self.stalls() {
            self.holds(Held::Directory(reply));
        } else {
            reply.ok();
        }
    }
}

fn until(what: &str, mut done: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !done() {
        assert!(begun.elapsed() < Duration::from_secs(30), "never {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn is_ready(instance: &Instance) -> bool {
    matches!(instance.snapshot().recording, RecordingView::Ready { .. })
}

/// How long an instance takes to go.
fn goes(bench: Bench) {
    let begun = Instant::now();
    drop(bench);
    let took = begun.elapsed();
    println!("gone after {took:?}");
    assert!(took < SOON, "{took:?}");
}

#[test]
fn a_file_that_stalls_holds_up_nobody() {
    in_own_folder("stalled::a_file_that_stalls_holds_up_nobody", || {
        let dir = tempfile::tempdir().expect("a folder");
        let good = recording(dir.path(), "good.wav", RATE);
        let folder = Folder {
            bytes: Arc::new(std::fs::read(&good).expect("read")),
            ..Folder::default()
        };
        let at = dir.path().join("network");
        let Some(_mounted) = folder.mounted(&at) else {
            return;
        };
        let [stalled, other_stalled, third] = FILES.map(|name| at.join(name));
        folder.stalls.store(true, Ordering::Release);
        let mut bench = Bench::new();
        bench.restore(&stalled);
        until("asked", || folder.waiting() > 0);
        // It answers, and opens another file.
        bench.run(4800, true);
        bench.instance.apply(Command::SetCountIn(2), None);
        assert_eq!(bench.instance.snapshot().practice.count_in_bars, 2);
        let begun = Instant::now();
        bench.instance.apply(Command::Load(good.clone()), None);
        bench.until("opened another", is_ready);
        println!("another file was open after {:?}", begun.elapsed());
        // Another instance opens one too, while nobody has given the first up.
        let waiting = folder.waiting();
        let waits = Bench::new();
        waits.restore(&other_stalled);
        until("asked again", || folder.waiting() > waiting);
        let mut other = Bench::new();
        other.restore(&good);
        other.until("opened beside", is_ready);
        goes(waits);
        goes(other);
        let waiting = folder.waiting();
        let leaves = Bench::new();
        leaves.restore(&third);
        until("asked a third time", || folder.waiting() > waiting);
        goes(leaves);
        // What was let go comes back, and ends: of the six services' threads and two more none is double.
        folder.answer();
        until("back", || threads() == 8);
        bench.until("still there", is_ready);
        goes(bench);
        until("ended", || threads() == 0);
    });
}

#[test]
fn a_takes_folder_that_stalls_holds_up_nobody() {
    in_own_folder(
        "stalled::a_takes_folder_that_stalls_holds_up_nobody",
        || {
            let dir = tempfile::tempdir().expect("a folder");
            let good = recording(dir.path(), "good.wav", RATE);
            let folder = Folder::default();
            let Some(_mounted) = folder.mounted(&data_dir().join("takes")) else {
                return;
            };
            let mut bench = Bench::opened(&good);
            folder.stalls.store(true, Ordering::Release);
            bench.instance.apply(Command::CaptureTake(true), None);
            bench.controls.play = true;
            until("asked", || folder.waiting() > 0);
            bench.run(48_000, true);
            bench.instance.apply(Command::SetCountIn(1), None);
            assert_eq!(bench.instance.snapshot().practice.count_in_bars, 1);
            goes(bench);
            // The next one plays and records where it can.
            let bench = Bench::opened(&good);
            goes(bench);
            folder.answer();
            until("ended", || threads() == 0);
        },
    );
}

/// A thread that was let go finds its code where it was: a host that unloads the plug-in does not unmap it.
#[test]
fn a_host_that_unloads_the_plug_in_leaves_its_code() {
    let own = std::env::current_exe().expect("this test's own path");
    let built = own.with_file_name("libthumbline_plugin.so");
    let name = std::ffi::CString::new(built.as_os_str().as_encoded_bytes()).expect("a name");
    let mapped = || {
        let maps = std::fs::read_to_string("/proc/self/maps").expect("what is mapped");
        maps.contains("libthumbline_plugin.so")
    };
    assert!(built.is_file() && !mapped(), "{}", built.display());
    // SAFETY: the plug-in's initialisers do nothing but register its entry points.
    unsafe {
        let handle = libc::dlopen(name.as_ptr(), libc::RTLD_NOW | libc::RTLD_LOCAL);
        assert!(!handle.is_null(), "it does not load");
        assert_eq!(libc::dlclose(handle), 0);
    }
    assert!(mapped(), "unmapped");
}

/// Threads of ours.
fn threads() -> usize {
    let tasks = std::fs::read_dir("/proc/self/task").expect("a list of threads");
    let ours = tasks.flatten().filter(|task| {
        let name = std::fs::read_to_string(task.path().join("comm"));
        name.is_ok_and(|name| name.starts_with("thumbline"))
    });
    ours.count()
}
