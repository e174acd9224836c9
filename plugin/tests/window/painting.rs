//! The window as a picture, painted on the processor: triangles with the font's texture, as egui
//! hands them to a graphics card. Slow, exact to a rounding, and the same on every machine.

use egui::epaint::{Primitive, Vertex};
use egui::{Color32, ColorImage, Pos2};
use egui_kittest::Harness;
use std::fmt::Write as _;
use std::path::Path;

/// A picture, a row after a row; 0 to 255 a channel.
pub struct Picture {
    width: usize,
    height: usize,
    pixels: Vec<[f32; 3]>,
}

/// What a window shows now.
pub fn painted<S>(harness: &Harness<S>) -> Picture {
    let (ctx, output) = (&harness.ctx, harness.output());
    let scale = output.pixels_per_point;
    let size = ctx.content_rect().size() * scale;
    let (width, height) = (size.x.round() as usize, size.y.round() as usize);
    let mut picture = Picture {
        width,
        height,
        pixels: vec![[255.0; 3]; width * height],
    };
    #[allow(
        clippy::redundant_closure_for_method_calls,
        reason = "the method is not general enough over lifetimes"
    )]
    let font = ctx.fonts(|fonts| fonts.image());
    for clipped in ctx.tessellate(output.shapes.clone(), scale) {
        let Primitive::Mesh(mesh) = &clipped.primitive else {
            continue;
        };
        let clip = clipped.clip_rect;
        let clip = [
            (clip.min.x * scale).round().max(0.0) as usize,
            (clip.min.y * scale).round().max(0.0) as usize,
            ((clip.max.x * scale).round().max(0.0) as usize).min(width),
            ((clip.max.y * scale).round().max(0.0) as usize).min(height),
        ];
        for corners in mesh.indices.chunks_exact(3) {
            let corners = [0, 1, 2].map(|k| mesh.vertices[corners[k] as usize]);
            picture.triangle(corners, scale, clip, &font);
        }
    }
    picture
}

/// Twice the area of a triangle, signed.
fn area(a: Pos2, b: Pos2, c: Pos2) -> f32 {
    (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)
}

impl Picture {
    fn triangle(&mut self, corners: [Vertex; 3], scale: f32, clip: [usize; 4], font: &ColorImage) {
        let at = corners.map(|v| Pos2::new(v.pos.x * scale, v.pos.y * scale));
        let whole = area(at[0], at[1], at[2]);
        if whole == 0.0 || !whole.is_finite() {
            return;
        }
        let fold = |f: fn(f32, f32) -> f32, of: fn(&Pos2) -> f32| at.iter().map(of).reduce(f);
        let (Some(left), Some(right)) = (fold(f32::min, |p| p.x), fold(f32::max, |p| p.x)) else {
            return;
        };
        let (Some(top), Some(bottom)) = (fold(f32::min, |p| p.y), fold(f32::max, |p| p.y)) else {
            return;
        };
        let columns = clip[0].max(left.max(0.0) as usize)..clip[2].min(right.max(0.0) as usize + 1);
        let rows = clip[1].max(top.max(0.0) as usize)..clip[3].min(bottom.max(0.0) as usize + 1);
        for y in rows {
            for x in columns.clone() {
                let p = Pos2::new(x as f32 + 0.5, y as f32 + 0.5);
                let share = [
                    area(at[1], at[2], p) / whole,
                    area(at[2], at[0], p) / whole,
                    area(at[0], at[1], p) / whole,
                ];
                if share.iter().any(|s| *s < 0.0) {
                    continue;
                }
                let mix = |of: &dyn Fn(&Vertex) -> f32| -> f32 {
                    corners.iter().zip(share).map(|(v, s)| of(v) * s).sum()
                };
                let uv = (mix(&|v| v.uv.x), mix(&|v| v.uv.y));
                let ink = texel(font, uv);
                let colour = [0, 1, 2, 3].map(|c| mix(&|v| f32::from(v.color[c])));
                let tint = |c: usize| colour[c] * f32::from(ink[c]) / 255.0;
                let clear = 1.0 - tint(3) / 255.0;
                let pixel = &mut self.pixels[y * self.width + x];
                for (c, value) in pixel.iter_mut().enumerate() {
                    *value = tint(c) + *value * clear;
                }
            }
        }
    }

    /// Brightness of each square of `side` pixels as a digit, 0 black to 9 white, a line a row.
    pub fn digits(&self, side: usize) -> String {
        let mut out = String::new();
        for top in (0..self.height).step_by(side) {
            for left in (0..self.width).step_by(side) {
                let (mut sum, mut count) = (0.0, 0.0);
                for y in top..(top + side).min(self.height) {
                    for x in left..(left + side).min(self.width) {
                        let [r, g, b] = self.pixels[y * self.width + x];
                        sum += 0.299 * r + 0.587 * g + 0.114 * b;
                        count += 1.0;
                    }
                }
                let _ = write!(out, "{}", (sum / count / 25.6) as u8);
            }
            out.push('\n');
        }
        out
    }

    /// Writes it as a portable pixmap.
    pub fn save(&self, path: &Path) {
        let mut bytes = format!("P6 {} {} 255\n", self.width, self.height).into_bytes();
        let pixels = self.pixels.iter().flatten();
        bytes.extend(pixels.map(|c| c.round().clamp(0.0, 255.0) as u8));
        std::fs::write(path, bytes).expect("picture folder is writable");
    }
}

/// The texture's nearest point.
fn texel(font: &ColorImage, (u, v): (f32, f32)) -> Color32 {
    let [width, height] = font.size;
    let x = ((u * width as f32) as usize).min(width - 1);
    let y = ((v * height as f32) as usize).min(height - 1);
    font.pixels[y * width + x]
}
