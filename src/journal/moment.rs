//! A moment in time, by the player's clock.

use serde::{Deserialize, Serialize};

/// A moment in time: milliseconds since 1970-01-01 00:00 UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Moment(pub i64);

impl Moment {
    /// Milliseconds of a day.
    pub const DAY: i64 = 86_400_000;

    /// Now, by the system's clock.
    pub fn now() -> Self {
        Self(jiff::Timestamp::now().as_millisecond())
    }

    /// The date and time of day in the player's time zone, `2026-11-25 18:04`.
    pub fn local(self) -> String {
        self.zoned().map_or_else(
            || "unknown date".into(),
            |z| z.strftime("%Y-%m-%d %H:%M").to_string(),
        )
    }

    /// The date in the player's time zone, `2026-11-25`.
    pub fn date(self) -> String {
        self.zoned().map_or_else(
            || "unknown date".into(),
            |z| z.strftime("%Y-%m-%d").to_string(),
        )
    }

    /// Date and time in UTC as a file's name can hold them, `2026-11-25 18.04.59`.
    pub fn in_a_name(self) -> String {
        jiff::Timestamp::from_millisecond(self.0).map_or_else(
            |_| "unknown date".into(),
            |t| t.strftime("%Y-%m-%d %H.%M.%S").to_string(),
        )
    }

    fn zoned(self) -> Option<jiff::ZonedDateTime> {
        let stamp = jiff::Timestamp::from_millisecond(self.0).ok()?;
        Some(stamp.to_zoned_datetime(jiff::tz::TimeZone::system()))
    }
}
