//! The weights of the note decision, where `cargo xtask fit hearing note-selection` (`fit`) writes them. These are older:
//! logistic regressions over what the network before this one said of 75 rendered pieces (steel, nylon, sampled and
//! modelled voices; rooms, noise, lossy files). Fitted anew to the present network on 74 invented pieces they do no better
//! on 41 others (15 rendered, 20 sampled, six real): onsets within 10 ms .964 against .963, .957 against
//! .956, .814 against .817.

use super::weighing::Weights;

/// See [`Weights`].
pub(super) const WEIGHTS: Weights = Weights {
    exact: (
        [
            4.137, 0.59, 0.159, 0.48, -1.305, 0.069, -0.13, -2.536, -0.13, 2.32, -0.101, 1.443,
            0.271,
        ],
        -5.269,
    ),
    place: [0.61, 0.544, 0.139, -0.135, 0.784, 0.095, -0.081],
    note: (
        [
            0.335, 0.929, -0.146, 0.17, 0.074, 0.238, 0.806, -1.504, 0.019, 0.034,
        ],
        0.22,
    ),
};
