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

/// Takes weights off the front of the file.
pub struct WeightReader(std::slice::Chunks<'static, u8>);

impl WeightReader {
    /// The weights in `bytes`, little-endian 32-bit floats.
    pub fn new(bytes: &'static [u8]) -> Self {
        Self(bytes.chunks(4))
    }

    /// The next `count`.
    pub fn take(&mut self, count: usize) -> Vec<f32> {
        self.0
            .by_ref()
            .take(count)
            .map(|b| {
                b.iter()
                    .rev()
                    .fold(0_u32, |bits, byte| bits << 8 | u32::from(*byte))
            })
            .map(f32::from_bits)
            .collect()
    }

    /// The next layer of `inputs`.
    pub fn dense<const OUT: usize>(&mut self, inputs: usize) -> Dense<OUT> {
        let weights = self.take(inputs * OUT);
        let mut bias = [0.0; OUT];
        bias.iter_mut()
            .zip(self.take(OUT))
            .for_each(|(b, v)| *b = v);
        Dense { weights, bias }
    }

    /// The next layer that slides over positions of `inputs` values.
    pub fn sliding<const OUT: usize>(
        &mut self,
        taps: usize,
        inputs: usize,
        stride: usize,
    ) -> Sliding<OUT> {
        let dense = self.dense(taps * inputs);
        Sliding {
            dense,
            taps,
            inputs,
            stride,
        }
    }

    /// The next layer that looks at `distances`.
    pub fn reaching<const OUT: usize>(
        &mut self,
        distances: &'static [isize],
        inputs: usize,
    ) -> Reaching<OUT> {
        let dense = self.dense(distances.len() * inputs);
        Reaching {
            dense,
            distances,
            inputs,
        }
    }
}

/// From any number to a probability.
pub fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + (-x).exp())
}
