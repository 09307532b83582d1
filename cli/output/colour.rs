//! The strain scale: signed, smooth, evenly spaced for the eye, readable in grey and with weak colour vision.
//!
//! Input: a value from -1 to 1. Output: an sRGB colour. Absent: drawing.
//!
//! Both halves start at one pale neutral and darken at the same pace: compression from sea green into deep
//! violet-blue, tension from amber into dark crimson. The path is laid out in Oklab and walked by arc length,
//! so that equal steps of strain are equal steps of colour, and the lightness alone gives the magnitude.
//! Oklab: B. Ottosson, "A perceptual color space for image processing", 2020 (matrices from memory, checked
//! below on the white point and on round trips).

/// An sRGB colour, 8 bits a channel.
pub(crate) type Rgb = [u8; 3];

/// Page.
pub(crate) const PAPER: Rgb = [255, 255, 255];
/// Text and ticks.
pub(crate) const INK: Rgb = [34, 38, 43];
/// Secondary text.
pub(crate) const SOFT_INK: Rgb = [98, 104, 112];
/// Film and other parts of the board that are not shown by value.
pub(crate) const FILM: Rgb = [222, 224, 226];
/// Thin lines of the board.
pub(crate) const LINE: Rgb = [120, 126, 134];

/// Colours along each half, tabulated.
const STEPS: usize = 512;

/// One half of the scale in Oklab: lightness falls evenly, hue turns, chroma grows quickly from zero.
#[derive(Debug, Clone, Copy)]
struct Half {
    hue_deg: [f64; 2],
    chroma: f64,
    /// Part of the chroma given up at the dark end, to stay inside the gamut.
    fade: f64,
}

const COMPRESSION: Half = Half { hue_deg: [195.0, 285.0], chroma: 0.12, fade: 0.05 };
const TENSION: Half = Half { hue_deg: [92.0, 12.0], chroma: 0.14, fade: 0.22 };
const LIGHTNESS: [f64; 2] = [0.97, 0.32];

impl Half {
    fn oklab(self, t: f64) -> [f64; 3] {
        let hue = (self.hue_deg[0] + (self.hue_deg[1] - self.hue_deg[0]) * t).to_radians();
        let chroma = self.chroma * (1.0 - (-t / 0.22).exp()) * (1.0 - self.fade * t);
        let lightness = LIGHTNESS[0] + (LIGHTNESS[1] - LIGHTNESS[0]) * t;
        [lightness, chroma * hue.cos(), chroma * hue.sin()]
    }

    /// Colours at equal arc lengths from the pale middle to the dark end.
    fn table(self) -> Vec<Rgb> {
        const FINE: usize = 4096;
        let path: Vec<[f64; 3]> = (0..=FINE).map(|i| self.oklab(i as f64 / FINE as f64)).collect();
        let mut length = vec![0.0];
        for pair in path.windows(2) {
            length.push(length[length.len() - 1] + distance(pair[0], pair[1]));
        }
        let total = length[FINE];
        let mut at = 0;
        (0..=STEPS)
            .map(|i| {
                let wanted = total * i as f64 / STEPS as f64;
                while at < FINE && length[at + 1] < wanted {
                    at += 1;
                }
                srgb(path[at.min(FINE)])
            })
            .collect()
    }
}

/// Straight distance in Oklab.
fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(p, q)| (p - q) * (p - q)).sum::<f64>().sqrt()
}

/// Oklab to sRGB; colours outside the gamut are cut at its faces.
pub(crate) fn srgb(lab: [f64; 3]) -> Rgb {
    linear_rgb(lab).map(|c| {
        let c = c.clamp(0.0, 1.0);
        let coded = if c <= 0.003_130_8 { 12.92 * c } else { 1.055 * c.powf(1.0 / 2.4) - 0.055 };
        to_byte(coded * 255.0)
    })
}

/// Nearest byte of a number that is already within 0 to 255.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a byte")]
pub(crate) fn to_byte(v: f64) -> u8 {
    // The cast cuts off at both ends.
    (v + 0.5) as u8
}

fn linear_rgb([lightness, a, b]: [f64; 3]) -> [f64; 3] {
    let l = (lightness + 0.396_337_777_4 * a + 0.215_803_757_3 * b).powi(3);
    let m = (lightness - 0.105_561_345_8 * a - 0.063_854_172_8 * b).powi(3);
    let s = (lightness - 0.089_484_177_5 * a - 1.291_485_548_0 * b).powi(3);
    [
        4.076_741_662_1 * l - 3.307_711_591_3 * m + 0.230_969_929_2 * s,
        -1.268_438_004_6 * l + 2.609_757_401_1 * m - 0.341_319_396_5 * s,
        -0.004_196_086_3 * l - 0.703_418_614_7 * m + 1.707_614_701_0 * s,
    ]
}

/// The signed strain scale, tabulated once.
#[derive(Debug, Clone)]
pub(crate) struct StrainScale {
    compression: Vec<Rgb>,
    tension: Vec<Rgb>,
}

impl StrainScale {
    /// Tabulates the scale.
    pub(crate) fn new() -> Self {
        Self { compression: COMPRESSION.table(), tension: TENSION.table() }
    }

    /// Colour of a value from -1 (compression) to 1 (tension); values outside take the end colour, a
    /// value that is not a number a mid grey.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the table")]
    pub(crate) fn colour(&self, value: f64) -> Rgb {
        if value.is_nan() {
            return LINE;
        }
        let idx = (value.abs().min(1.0) * STEPS as f64 + 0.5) as usize;
        if value < 0.0 { self.compression[idx] } else { self.tension[idx] }
    }
}

/// Pale fills of equal lightness for zones, well apart for neighbours in the list.
pub(crate) fn zone_fill(idx: usize) -> Rgb {
    if idx == 0 {
        // The commonest stack stays neutral.
        return srgb([0.90, 0.0, -0.006]);
    }
    // Steps of the golden angle keep any few neighbours in the list apart in hue.
    let hue = (25.0 + 137.507_764 * idx as f64).to_radians();
    let lightness = [0.90, 0.82, 0.86][idx % 3];
    srgb([lightness, 0.062 * hue.cos(), 0.062 * hue.sin()])
}

/// A colour between two, `t` = 0 gives the first.
pub(crate) fn mix(a: Rgb, b: Rgb, t: f64) -> Rgb {
    [0, 1, 2].map(|i| to_byte(f64::from(a[i]) + (f64::from(b[i]) - f64::from(a[i])) * t))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn linear(rgb: Rgb) -> [f64; 3] {
        rgb.map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        })
    }

    fn oklab_of_linear([r, g, b]: [f64; 3]) -> [f64; 3] {
        let l = (0.412_221_470_8 * r + 0.536_332_536_3 * g + 0.051_445_992_9 * b).max(0.0).cbrt();
        let m = (0.211_903_498_2 * r + 0.680_699_545_1 * g + 0.107_396_956_6 * b).max(0.0).cbrt();
        let s = (0.088_302_461_9 * r + 0.281_718_837_6 * g + 0.629_978_700_5 * b).max(0.0).cbrt();
        [
            0.210_454_255_3 * l + 0.793_617_785_0 * m - 0.004_072_046_8 * s,
            1.977_998_495_1 * l - 2.428_592_205_0 * m + 0.450_593_709_9 * s,
            0.025_904_037_1 * l + 0.782_771_766_2 * m - 0.808_675_766_0 * s,
        ]
    }

    fn values() -> impl Iterator<Item = f64> {
        (0..=64).map(|i| f64::from(i) / 64.0)
    }

    /// Relative luminance, sRGB standard (IEC 61966-2-1).
    fn luminance(rgb: Rgb) -> f64 {
        let [r, g, b] = linear(rgb);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    // Dichromat views of linear sRGB after Vienot, Brettel, Mollon, Color Research and Application 24(4), 1999
    // (figures from memory). Rows sum to one, so greys stay.
    const PROTAN: [[f64; 3]; 3] =
        [[0.112_38, 0.887_62, 0.0], [0.112_38, 0.887_62, 0.0], [0.004_01, -0.004_01, 1.0]];
    const DEUTAN: [[f64; 3]; 3] =
        [[0.292_75, 0.707_25, 0.0], [0.292_75, 0.707_25, 0.0], [-0.022_34, 0.022_34, 1.0]];

    fn seen(rgb: Rgb, eye: [[f64; 3]; 3]) -> [f64; 3] {
        let c = linear(rgb);
        oklab_of_linear(eye.map(|row| row[0] * c[0] + row[1] * c[1] + row[2] * c[2]))
    }

    #[test]
    fn oklab_returns_white_and_round_trips() {
        assert_eq!(srgb([1.0, 0.0, 0.0]), [255, 255, 255], "white of Oklab is the white of sRGB");
        for rgb in [[12u8, 200, 90], [200, 30, 45], [5, 5, 250], [128, 128, 128]] {
            assert_eq!(srgb(oklab_of_linear(linear(rgb))), rgb, "round trip of {rgb:?}");
        }
    }

    #[test]
    fn scale_stays_inside_the_gamut() {
        for half in [COMPRESSION, TENSION] {
            for t in values() {
                let rgb = linear_rgb(half.oklab(t));
                assert!(
                    rgb.iter().all(|&c| (-2e-3..=1.002).contains(&c)),
                    "{half:?} at {t}: {rgb:?} would be cut"
                );
            }
        }
    }

    #[test]
    fn lightness_and_grey_fall_with_magnitude_on_both_sides() {
        let scale = StrainScale::new();
        for sign in [-1.0, 1.0] {
            let tones: Vec<(f64, f64)> = values()
                .map(|t| {
                    let rgb = scale.colour(sign * t);
                    (oklab_of_linear(linear(rgb))[0], luminance(rgb))
                })
                .collect();
            for pair in tones.windows(2) {
                assert!(pair[1].0 < pair[0].0, "lightness rises: {pair:?}");
                assert!(pair[1].1 < pair[0].1, "grey value rises: {pair:?}");
            }
        }
    }

    #[test]
    fn equal_strain_steps_are_equal_colour_steps() {
        let scale = StrainScale::new();
        for sign in [-1.0, 1.0] {
            let labs: Vec<[f64; 3]> =
                (0..=16).map(|i| oklab_of_linear(linear(scale.colour(sign * f64::from(i) / 16.0)))).collect();
            let steps: Vec<f64> = labs.windows(2).map(|p| distance(p[0], p[1])).collect();
            let mean = steps.iter().sum::<f64>() / steps.len() as f64;
            for s in &steps {
                assert!((s / mean - 1.0).abs() < 0.08, "step {s:.4} against mean {mean:.4}, sign {sign}");
            }
        }
    }

    #[test]
    fn signs_stay_apart_and_magnitudes_ordered_for_weak_colour_vision() {
        let scale = StrainScale::new();
        for (name, eye) in [("protan", PROTAN), ("deutan", DEUTAN)] {
            for t in values().filter(|&t| t >= 0.125) {
                let (minus, plus) = (seen(scale.colour(-t), eye), seen(scale.colour(t), eye));
                assert!(distance(minus, plus) > 0.05, "{name} at {t}: {:.3}", distance(minus, plus));
            }
            for sign in [-1.0, 1.0] {
                let l: Vec<f64> =
                    (0..=16).map(|i| seen(scale.colour(sign * f64::from(i) / 16.0), eye)[0]).collect();
                assert!(l.windows(2).all(|p| p[1] < p[0]), "{name}, sign {sign}: {l:?}");
            }
        }
    }

    #[test]
    fn both_sides_have_the_same_weight() {
        let scale = StrainScale::new();
        for t in values() {
            let l = [-t, t].map(|v| oklab_of_linear(linear(scale.colour(v)))[0]);
            assert!((l[0] - l[1]).abs() < 0.02, "at {t}: lightness {l:?}");
        }
    }
}
