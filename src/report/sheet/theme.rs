//! Colours of the bar sheet and of everything around it, on paper and on a dark ground.
//!
//! Thumb and finger colours come from the palette of Okabe & Ito, "Color Universal Design" (2002,
//! revised 2008; values from memory): blue and vermilion on paper, sky blue and orange on dark.
//! Contrast is that of WCAG 2.2, section "relative luminance" and "contrast ratio".

/// An sRGB colour, 8 bits a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colour(pub u8, pub u8, pub u8);

impl Colour {
    /// Channels as light, 0 to 1 (inverse of the sRGB transfer curve, WCAG 2.2).
    pub fn linear(self) -> [f64; 3] {
        [self.0, self.1, self.2].map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        })
    }

    /// Relative luminance, 0 (black) to 1 (white) (WCAG 2.2).
    pub fn luminance(self) -> f64 {
        let [r, g, b] = self.linear();
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    /// Contrast ratio against `other`, 1 to 21 (WCAG 2.2).
    pub fn contrast(self, other: Self) -> f64 {
        let (a, b) = (self.luminance(), other.luminance());
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// As written in SVG: `#rrggbb`.
    pub fn hex(self) -> String {
        format!("#{:02x}{:02x}{:02x}", self.0, self.1, self.2)
    }
}

/// What lies under the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Ground {
    /// Warm paper, for print and daylight.
    #[default]
    Paper,
    /// Dark, for the evening.
    Dark,
}

/// What a stroke or a text means; the ground decides its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ink {
    /// A note outside the band, by the thumb.
    Thumb,
    /// A note outside the band, by a finger.
    Finger,
    /// A thumb note inside the band.
    ThumbQuiet,
    /// A finger note inside the band.
    FingerQuiet,
    /// The fill of a thumb's head, its fret written over it; how long its string rings.
    ThumbPale,
    /// The same of a finger's.
    FingerPale,
    /// The row's line, beat ticks and headings.
    Line,
    /// Finer ticks and stems.
    Tick,
    /// The strings: a hair that leads the eye and carries nothing alone.
    Hair,
    /// The band that can not be heard or measured.
    Band,
    /// Text.
    Text,
    /// Less important text.
    Faint,
    /// The current position, the loop's edges.
    Position,
    /// A quiet fill: the loop's area, a panel.
    Wash,
    /// What is chosen or under the pointer; keyboard focus.
    Focus,
    /// Something is wrong.
    Alarm,
}

impl Ink {
    /// Every ink.
    pub const ALL: [Self; 16] = [
        Self::Thumb,
        Self::Finger,
        Self::ThumbQuiet,
        Self::FingerQuiet,
        Self::ThumbPale,
        Self::FingerPale,
        Self::Line,
        Self::Tick,
        Self::Hair,
        Self::Band,
        Self::Text,
        Self::Faint,
        Self::Position,
        Self::Wash,
        Self::Focus,
        Self::Alarm,
    ];

    /// Is it used for text (4.5:1), for marks (3:1), or only to fill behind them?
    pub fn least_contrast(self) -> f64 {
        match self {
            Self::Text | Self::Faint | Self::Alarm => 4.5,
            Self::Hair | Self::Band | Self::Wash | Self::ThumbPale | Self::FingerPale => 1.0,
            _ => 3.0,
        }
    }
}

impl Ground {
    /// The colour of the ground itself.
    pub const fn colour(self) -> Colour {
        match self {
            Self::Paper => Colour(0xfb, 0xf7, 0xec),
            Self::Dark => Colour(0x1c, 0x1b, 0x19),
        }
    }

    /// The colour of `ink` on this ground.
    pub const fn ink(self, ink: Ink) -> Colour {
        match self {
            Self::Paper => match ink {
                Ink::Thumb => Colour(0x00, 0x72, 0xb2),
                Ink::Finger => Colour(0xd5, 0x5e, 0x00),
                Ink::ThumbQuiet => Colour(0x52, 0x7f, 0x9b),
                Ink::FingerQuiet => Colour(0xae, 0x75, 0x4e),
                Ink::ThumbPale => Colour(0xc9, 0xe0, 0xec),
                Ink::FingerPale => Colour(0xf7, 0xdc, 0xc2),
                Ink::Line => Colour(0x3b, 0x35, 0x2c),
                Ink::Tick => Colour(0x85, 0x7c, 0x6d),
                Ink::Hair => Colour(0xe2, 0xda, 0xc8),
                Ink::Band => Colour(0xf3, 0xed, 0xde),
                Ink::Text => Colour(0x2b, 0x27, 0x21),
                Ink::Faint => Colour(0x68, 0x60, 0x53),
                Ink::Position => Colour(0x00, 0x7a, 0x5a),
                Ink::Wash => Colour(0xf1, 0xea, 0xd8),
                Ink::Focus => Colour(0x8a, 0x3d, 0x78),
                Ink::Alarm => Colour(0xa3, 0x2a, 0x12),
            },
            Self::Dark => match ink {
                Ink::Thumb => Colour(0x56, 0xb4, 0xe9),
                Ink::Finger => Colour(0xe6, 0x9f, 0x00),
                Ink::ThumbQuiet => Colour(0x76, 0x94, 0xa8),
                Ink::FingerQuiet => Colour(0xa8, 0x90, 0x65),
                Ink::ThumbPale => Colour(0x2c, 0x4a, 0x5c),
                Ink::FingerPale => Colour(0x55, 0x43, 0x17),
                Ink::Line => Colour(0xd9, 0xd2, 0xc3),
                Ink::Tick => Colour(0x82, 0x7b, 0x6e),
                Ink::Hair => Colour(0x35, 0x32, 0x2d),
                Ink::Band => Colour(0x27, 0x25, 0x22),
                Ink::Text => Colour(0xec, 0xe6, 0xd8),
                Ink::Faint => Colour(0xa9, 0xa1, 0x92),
                Ink::Position => Colour(0x2c, 0xc0, 0x95),
                Ink::Wash => Colour(0x2a, 0x28, 0x24),
                Ink::Focus => Colour(0xd9, 0x8f, 0xc3),
                Ink::Alarm => Colour(0xff, 0x8f, 0x70),
            },
        }
    }
}
