//! What the hand-over of players is made of. `tests/model` puts a model checker's own in their place.

pub use crate::shared_controls::SharedControls;
pub use rtrb::{Consumer, Producer, PushError, RingBuffer};
pub use std::sync::Arc;
pub use std::sync::atomic::{AtomicU64, Ordering};
pub use thumbline::deck::Player;
