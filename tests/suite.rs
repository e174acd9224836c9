//! One test binary; a file a capability.

mod layers;
mod pluck;
