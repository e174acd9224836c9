//! The error of a command that was given wrongly.

/// The command was given wrongly: another one would work on the same recording.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct Usage(String);

/// An error of usage, as every command raises it.
pub fn usage(what: impl Into<String>) -> anyhow::Error {
    Usage(what.into()).into()
}
