//! Thumbline as a plug-in.
