//! Files that players have and that are not read, told by their first bytes: so that the refusal
//! can say what they are.

/// What a file is that begins with `head`, in a player's words; none where it is not known.
///
/// The marks are those of the formats' own descriptions, from memory: ASF (header object), AMR
/// (RFC 4867), Standard MIDI File 1.0, WavPack (block header).
pub(super) fn name(head: &[u8]) -> Option<&'static str> {
    const MARKS: [(&[u8], &str); 4] = [
        (
            &[0x30, 0x26, 0xb2, 0x75, 0x8e, 0x66, 0xcf, 0x11],
            "a Windows Media file (WMA)",
        ),
        (b"#!AMR", "a phone's speech recording (AMR)"),
        (b"MThd", "a MIDI file: it holds notes and no sound"),
        (b"wvpk", "a WavPack file"),
    ];
    MARKS
        .iter()
        .find(|(mark, _)| head.starts_with(mark))
        .map(|(_, name)| *name)
}
