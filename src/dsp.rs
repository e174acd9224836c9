//! Signal processing that knows nothing of music: windows, spectra, prediction, rate conversion,
//! and a plucked string.

pub mod pluck;
pub mod predict;
pub mod resample;
pub mod spectrum;
pub mod window;
