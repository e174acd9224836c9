//! What a window and its helper hand each other, and files as lists of addresses.

use crate::data::addressed;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use std::path::PathBuf;

/// What the mouse brings and takes, shared with the window.
#[derive(Default)]
pub(super) struct Exchange {
    /// Are files held over the window now?
    pub coming: bool,
    /// Files that were let go over it and not fetched yet.
    pub came: Vec<PathBuf>,
    /// Files to be taken away.
    pub leaving: Vec<PathBuf>,
    /// Keys of functions that were pressed, from 1.
    pub functions: Vec<u8>,
    /// Does nobody want anything any more?
    pub over: bool,
}

/// What is left as it is in the address of a file (RFC 3986, section 3.3).
const PLAIN: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'/')
    .remove(b'-')
    .remove(b'_')
    .remove(b'.')
    .remove(b'~');

/// Files as a list of addresses, one a line (RFC 2483, section 5).
pub(super) fn addresses(files: &[PathBuf]) -> String {
    let line = |path: &PathBuf| {
        let path = path.to_string_lossy();
        format!("file://{}\r\n", utf8_percent_encode(&path, PLAIN))
    };
    files.iter().map(line).collect()
}

/// The files of such a list; what is no file of this machine is left out.
pub(super) fn files(list: &str) -> Vec<PathBuf> {
    let lines = list.lines().map(str::trim);
    lines
        .filter_map(|line| line.strip_prefix("file://"))
        .map(addressed)
        .filter(|path| path.is_absolute())
        .collect()
}
