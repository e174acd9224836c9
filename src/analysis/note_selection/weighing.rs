//! What the note decision weighs its evidence with.

/// What the three weighings multiply their evidence with.
#[derive(Debug, Clone, PartialEq)]
pub struct Weights {
    /// How exactly a candidate marks an onset, with bias.
    pub exact: ([f32; 13], f32),
    /// Which of several candidates a pitch begins at.
    pub place: [f32; 7],
    /// Whether it begins there at all, with bias.
    pub note: ([f32; 10], f32),
}
