//! Thumbline as a program of its own, on ALSA or JACK.
//!
//! `thumbline-standalone [options] [RECORDING]`; the options are those of the audio backend
//! (`--help`). Without them the devices are those chosen in the window.

use std::path::PathBuf;
use std::process::ExitCode;
use thumbline_plugin::{devices, standalone};

/// An analysis needs three times the room of its recording for some seconds. In a host the allocator
/// is the host's choice.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Has what is freed go back to the system at once, and memory be taken in small pages: by itself the
/// allocator waits for more to do and takes 2 MiB at a time, and a window at rest would keep twice what it
/// holds.
#[allow(
    unsafe_code,
    reason = "the allocator's and the system's settings are C functions"
)]
fn give_back_at_once() {
    /// `mi_option_purge_delay` of mimalloc.h, versions 2 and 3, in ms.
    const PURGE_DELAY: libmimalloc_sys::mi_option_t = 15;
    // SAFETY: plain numbers, before there is a second thread.
    unsafe {
        libmimalloc_sys::mi_option_set(PURGE_DELAY, 0);
        #[cfg(target_os = "linux")]
        libc::prctl(libc::PR_SET_THP_DISABLE, 1, 0, 0, 0);
    }
}

/// Splits the recording off the arguments: the last one, where it is no option nor an option's
/// value.
fn recording(args: &mut Vec<String>) -> Result<Option<PathBuf>, String> {
    let Some(last) = args.last().filter(|_| args.len() > 1) else {
        return Ok(None);
    };
    let before = &args[args.len() - 2];
    let value_of_option = args.len() > 2 && before.starts_with('-') && !before.contains('=');
    if last.starts_with('-') || (value_of_option && !PathBuf::from(last).is_file()) {
        return Ok(None);
    }
    let path = PathBuf::from(last);
    let found = std::fs::canonicalize(&path).map_err(|e| format!("{last}: {e}"))?;
    args.pop();
    Ok(Some(found))
}

fn main() -> ExitCode {
    give_back_at_once();
    let mut args: Vec<String> = std::env::args().collect();
    match recording(&mut args) {
        Ok(recording) => {
            let choice = standalone::chosen_sound();
            let (sound, options) = devices::look(choice, &args);
            if let Some(fault) = &sound.fault {
                eprintln!("thumbline-standalone: {fault}");
            }
            args.extend(options);
            standalone::declare(recording, sound);
        }
        Err(reason) => {
            eprintln!("thumbline-standalone: {reason}");
            return ExitCode::from(2);
        }
    }
    let well = nice_plug::wrapper::standalone::nice_export_standalone_with_args::<
        thumbline_plugin::Thumbline,
        _,
    >(args);
    if let Err(why) = standalone::begin_anew() {
        eprintln!("thumbline-standalone: {why}");
        return ExitCode::FAILURE;
    }
    if well {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
