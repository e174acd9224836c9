//! Layers of the network: sums of products, laid out so that the compiler does several at once.

/// Buffers kept between readings.
#[derive(Default)]
pub struct Scratch {
    /// Outputs of the two layers along the pitch axis, `[bin][channel]`, flat.
    pub first: Vec<f32>,
    pub second: Vec<f32>,
    /// Outputs of the layers a pitch, flat.
    pub partials: Vec<f32>,
    pub weighed: Vec<f32>,
}

/// Adds `inputs` times `weights` (`[input][output]`, flat) to `sums`.
pub fn add_products<const OUT: usize>(inputs: &[f32], weights: &[f32], sums: &mut [f32; OUT]) {
    let (rows, _) = weights.as_chunks::<OUT>();
    for (x, row) in inputs.iter().zip(rows) {
        for (sum, w) in sums.iter_mut().zip(row) {
            *sum += x * w;
        }
    }
}

/// A layer whose every output sees every input.
pub struct Dense<const OUT: usize> {
    /// `[input][output]`, flat.
    pub weights: Vec<f32>,
    pub bias: [f32; OUT],
}

impl<const OUT: usize> Dense<OUT> {
    /// The outputs for inputs given in pieces, one after the other.
    pub fn of(&self, pieces: &[&[f32]]) -> [f32; OUT] {
        let mut sums = self.bias;
        let mut rest = self.weights.as_slice();
        for piece in pieces {
            let (here, after) = rest.split_at((piece.len() * OUT).min(rest.len()));
            rest = after;
            add_products(piece, here, &mut sums);
        }
        sums
    }
}

/// A layer that slides over positions: `taps` neighbours of a position, `inputs` values each.
pub struct Sliding<const OUT: usize> {
    /// Weights `[tap][input][output]`, flat, and biases.
    pub dense: Dense<OUT>,
    pub taps: usize,
    pub inputs: usize,
    pub stride: usize,
}

impl<const OUT: usize> Sliding<OUT> {
    /// Slides over `from` (`[position][input]`, flat; nothing lies outside) and writes what is
    /// above zero to `out` (`[position][output]`, flat).
    pub fn over(&self, from: &[f32], out: &mut Vec<f32>) {
        let positions = from.len() / self.inputs;
        out.clear();
        for at in (0..positions).step_by(self.stride) {
            let mut sums = self.dense.bias;
            let first = at.saturating_sub(self.taps / 2);
            let last = (at + self.taps / 2 + 1).min(positions);
            let skipped = (first + self.taps / 2 - at) * self.inputs * OUT;
            add_products(
                &from[first * self.inputs..last * self.inputs],
                &self.dense.weights[skipped..],
                &mut sums,
            );
            out.extend(sums.map(|s| s.max(0.0)));
        }
    }
}

/// A layer that looks at chosen distances from a position.
pub struct Reaching<const OUT: usize> {
    /// Weights `[distance][input][output]`, flat, and biases.
    pub dense: Dense<OUT>,
    pub distances: &'static [isize],
    pub inputs: usize,
}

impl<const OUT: usize> Reaching<OUT> {
    /// The sums at `position` of `from` (`[position][input]`, flat; nothing lies outside).
    pub fn at(&self, position: isize, from: &[f32]) -> [f32; OUT] {
        let mut sums = self.dense.bias;
        let size = self.inputs * OUT;
        for (distance, weights) in self.distances.iter().zip(self.dense.weights.chunks(size)) {
            let seen = usize::try_from(position + distance)
                .ok()
                .and_then(|p| from.get(p * self.inputs..(p + 1) * self.inputs));
            if let Some(inputs) = seen {
                add_products(inputs, weights, &mut sums);
            }
        }
        sums
    }
}

/// From any number to a probability.
pub fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + (-x).exp())
}
