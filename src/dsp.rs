//! Signal processing that knows nothing of music: windows, filters, spectra, and a plucked string.

pub mod pluck;
