//! The page of a picture: pixels, crisp straight lines, text, and the finished PNG.
//!
//! Input: positions in pixels, y down. Output: PNG bytes. Absent: anything that knows of millimetres
//! (see [`super::panel`]). The one typeface is built in, so that pictures need nothing installed.

use super::colour::{Rgb, mix};
use plotters::backend::{BitMapBackend, DrawingBackend, RGBPixel};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontStyle, IntoFont, RGBColor, TextStyle, register_font};
use std::sync::OnceLock;

static TYPEFACE: &[u8] = include_bytes!("font/DejaVuSans.ttf");
static REGISTERED: OnceLock<bool> = OnceLock::new();

/// Largest side of a picture, pixels.
const MAX_SIDE: u32 = 8192;

/// Why a picture could not be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PictureError(pub(crate) String);

/// Which point of a text the given position is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    /// Left end, middle height.
    Left,
    /// Middle.
    Centre,
    /// Right end, middle height.
    Right,
}

/// An RGB picture in memory.
#[derive(Debug, Clone)]
pub(crate) struct Canvas {
    width: u32,
    height: u32,
    rgb: Vec<u8>,
}

/// A rectangle in pixels, y down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rect {
    /// Left.
    pub(crate) x: i32,
    /// Top.
    pub(crate) y: i32,
    /// Width.
    pub(crate) w: i32,
    /// Height.
    pub(crate) h: i32,
}

impl Canvas {
    /// A page of one colour.
    ///
    /// # Errors
    /// A side of zero or beyond the largest allowed.
    pub(crate) fn new(width: u32, height: u32, paper: Rgb) -> Result<Self, PictureError> {
        if width == 0 || height == 0 || width > MAX_SIDE || height > MAX_SIDE {
            return Err(PictureError(format!("a picture of {width} x {height} pixels cannot be drawn")));
        }
        let registered =
            REGISTERED.get_or_init(|| register_font("sans-serif", FontStyle::Normal, TYPEFACE).is_ok());
        if !registered {
            return Err(PictureError("the built-in typeface cannot be read".to_owned()));
        }
        Ok(Self { width, height, rgb: paper.repeat(width as usize * height as usize) })
    }

    /// Sets one pixel; outside the page nothing happens.
    pub(crate) fn put(&mut self, x: i32, y: i32, colour: Rgb) {
        let (Ok(x), Ok(y)) = (u32::try_from(x), u32::try_from(y)) else { return };
        if x < self.width && y < self.height {
            let at = (y as usize * self.width as usize + x as usize) * 3;
            self.rgb[at..at + 3].copy_from_slice(&colour);
        }
    }

    /// Fills a rectangle.
    pub(crate) fn fill(&mut self, r: Rect, colour: Rgb) {
        for y in r.y..r.y + r.h {
            for x in r.x..r.x + r.w {
                self.put(x, y, colour);
            }
        }
    }

    /// Draws the one-pixel frame of a rectangle.
    pub(crate) fn frame(&mut self, r: Rect, colour: Rgb) {
        self.fill(Rect { h: 1, ..r }, colour);
        self.fill(Rect { y: r.y + r.h - 1, h: 1, ..r }, colour);
        self.fill(Rect { w: 1, ..r }, colour);
        self.fill(Rect { x: r.x + r.w - 1, w: 1, ..r }, colour);
    }

    /// Writes a text; `size` is the height of the letters' line in pixels.
    ///
    /// # Errors
    /// The typeface cannot draw it.
    pub(crate) fn text(
        &mut self,
        at: [i32; 2],
        anchor: Anchor,
        size: f64,
        colour: Rgb,
        text: &str,
    ) -> Result<(), PictureError> {
        let h_pos = match anchor {
            Anchor::Left => HPos::Left,
            Anchor::Centre => HPos::Center,
            Anchor::Right => HPos::Right,
        };
        let ink = RGBColor(colour[0], colour[1], colour[2]);
        let style: TextStyle<'_> =
            ("sans-serif", size).into_font().color(&ink).pos(Pos::new(h_pos, VPos::Center));
        let mut page =
            BitMapBackend::<RGBPixel>::with_buffer_and_format(&mut self.rgb, (self.width, self.height))
                .map_err(|e| PictureError(e.to_string()))?;
        page.draw_text(text, &style, (at[0], at[1])).map_err(|e| PictureError(e.to_string()))
    }

    /// Width of a text in pixels.
    pub(crate) fn text_width(size: f64, text: &str) -> i32 {
        let style: TextStyle<'_> = ("sans-serif", size).into_font().into();
        style.font.box_size(text).map_or(0, |(w, _)| i32::try_from(w).unwrap_or(0))
    }

    /// Cuts a text to a width in pixels, ending it in three dots when something was dropped.
    pub(crate) fn fit(size: f64, text: &str, width: i32) -> String {
        if Self::text_width(size, text) <= width {
            return text.to_owned();
        }
        let letters: Vec<char> = text.chars().collect();
        for keep in (1..letters.len()).rev() {
            let short: String = letters[..keep].iter().chain(['\u{2026}'].iter()).collect();
            if Self::text_width(size, &short) <= width {
                return short;
            }
        }
        String::new()
    }

    /// Lays a block of RGB pixels onto the page at its top left corner.
    pub(crate) fn blit(&mut self, at: [i32; 2], width: usize, rgb: &[Rgb]) {
        for (row, y) in rgb.chunks(width.max(1)).zip(at[1]..) {
            for (&c, x) in row.iter().zip(at[0]..) {
                self.put(x, y, c);
            }
        }
    }

    /// Blends a colour over a rectangle, `share` 0 to 1.
    pub(crate) fn veil(&mut self, r: Rect, colour: Rgb, share: f64) {
        for y in r.y.max(0)..r.y + r.h {
            for x in r.x.max(0)..r.x + r.w {
                let (Ok(px), Ok(py)) = (usize::try_from(x), usize::try_from(y)) else { continue };
                if px < self.width as usize && py < self.height as usize {
                    let at = (py * self.width as usize + px) * 3;
                    let old = [self.rgb[at], self.rgb[at + 1], self.rgb[at + 2]];
                    self.put(x, y, mix(old, colour, share));
                }
            }
        }
    }

    /// The picture as a PNG file (8 bits, RGB), without time stamps: same picture, same bytes.
    ///
    /// # Errors
    /// The encoder refuses (never for a valid page).
    pub(crate) fn png(&self) -> Result<Vec<u8>, PictureError> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, self.width, self.height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        // A third more bytes than the defaults, in a sixth of their time.
        encoder.set_deflate_compression(png::DeflateCompression::Level(1));
        encoder.set_filter(png::Filter::Up);
        let text = |e: png::EncodingError| PictureError(e.to_string());
        let mut writer = encoder.write_header().map_err(text)?;
        writer.write_image_data(&self.rgb).map_err(text)?;
        writer.finish().map_err(text)?;
        Ok(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::colour::{INK, PAPER};

    #[test]
    fn text_leaves_ink_and_is_measured() {
        let mut page = Canvas::new(200, 40, PAPER).expect("page");
        page.text([100, 20], Anchor::Centre, 20.0, INK, "strain, \u{b5}m/m").expect("text");
        let dark = page.rgb.chunks(3).filter(|p| p[0] < 128).count();
        assert!(dark > 100, "only {dark} dark pixels");
        assert!(Canvas::text_width(20.0, "mmmm") > Canvas::text_width(20.0, "mm"), "longer text is wider");
        let short = Canvas::fit(20.0, "a very long text indeed", 90);
        assert!(Canvas::text_width(20.0, &short) <= 90, "'{short}' is too wide");
        assert!(short.ends_with('\u{2026}'), "'{short}' does not say that it was cut");
    }

    #[test]
    fn png_has_signature_and_size_and_repeats() {
        let page = Canvas::new(30, 20, PAPER).expect("page");
        let bytes = page.png().expect("png");
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n", "signature of the PNG specification");
        assert_eq!(&bytes[16..24], &[0, 0, 0, 30, 0, 0, 0, 20], "width and height");
        assert_eq!(bytes, page.png().expect("png"), "same picture, same bytes");
    }

    #[test]
    fn page_of_no_size_is_refused() {
        assert!(Canvas::new(0, 10, PAPER).is_err(), "zero width");
        assert!(Canvas::new(10, MAX_SIDE + 1, PAPER).is_err(), "too tall");
    }
}
