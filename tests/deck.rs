//! The deck: what it renders, when, and that it renders the same at any block size.

mod asides;
mod clicks;
mod edges;
mod following;
mod pure;
mod rig;
mod rounds;
