//! Draws a spectrogram from tiles that are painted once each, off the screen.

use crate::editor::{Shared, Spectrum};
use crate::scene::{Rgba, Theme, TimeAxis, Tone};
use js_sys::{Array, Function, Reflect, Uint8ClampedArray};
use lipwright_core::features::{Features, Survey};
use lipwright_core::units::Seconds;
use std::cell::RefCell;
use std::collections::HashMap;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{CanvasRenderingContext2d, HtmlCanvasElement};

/// Tiles kept at most: some screens' worth at every scale.
const KEPT: usize = 96;

/// Painted tiles of one spectrogram in one theme.
#[derive(Default)]
pub struct Tiles {
    of: RefCell<Option<(Shared<Spectrum>, Theme)>>,
    painted: RefCell<HashMap<(usize, usize), HtmlCanvasElement>>,
}

impl Tiles {
    /// Draws what the axis shows; a canvas that is gone or has no room is left alone.
    pub fn draw(
        &self,
        canvas: &HtmlCanvasElement,
        (width, height): (f64, f64),
        axis: &TimeAxis,
        spectrum: Option<&Shared<Spectrum>>,
        theme: Theme,
    ) {
        let ratio = web_sys::window().map_or(1.0, |w| w.device_pixel_ratio()).clamp(0.5, 4.0);
        let (w, h) = ((width * ratio).round(), (height * ratio).round());
        let Some(context) = context_of(canvas, w, h) else { return };
        context.set_fill_style_str(&Tone::Lane.colour(theme).css());
        context.fill_rect(0.0, 0.0, w, h);
        let Some(spectrum) = spectrum else { return };
        let same = self.of.borrow().as_ref().is_some_and(|(s, t)| s == spectrum && *t == theme);
        if !same || self.painted.borrow().len() > KEPT {
            self.painted.borrow_mut().clear();
            *self.of.borrow_mut() = Some((spectrum.clone(), theme));
        }
        let hop = Features::HOP.value();
        let (scale, each) = spectrum.scale_for(1.0 / (hop * axis.scale()));
        let tile_time = Spectrum::TILE as f64 * each as f64 * hop;
        let (from, to) = axis.span();
        let first = (from.value().max(0.0) / tile_time).floor() as usize;
        for index in first.. {
            let start = index as f64 * tile_time;
            if start > to.value() || index * Spectrum::TILE >= spectrum.frames(scale) {
                break;
            }
            let Some(tile) = self.tile(spectrum, scale, index, theme) else { continue };
            let x = axis.x(Seconds::new(start)) * ratio;
            let wide = f64::from(tile.width()) * each as f64 * hop * axis.scale() * ratio;
            // Fails only for a tile without pixels, which is never kept.
            let _ = context.draw_image_with_html_canvas_element_and_dw_and_dh(&tile, x, 0.0, wide, h);
        }
    }

    fn tile(
        &self,
        spectrum: &Spectrum,
        scale: usize,
        index: usize,
        theme: Theme,
    ) -> Option<HtmlCanvasElement> {
        if let Some(tile) = self.painted.borrow().get(&(scale, index)) {
            return Some(tile.clone());
        }
        let (pixels, width) = spectrum.tile(scale, index, &colours(theme));
        let height = Survey::BANDS as u32;
        let canvas = web_sys::window()?.document()?.create_element("canvas").ok()?;
        let canvas: HtmlCanvasElement = canvas.dyn_into().ok()?;
        let context = context_of(&canvas, width as f64, f64::from(height))?;
        put_pixels(&context, &pixels, width)?;
        self.painted.borrow_mut().insert((scale, index), canvas.clone());
        Some(canvas)
    }
}

/// Puts pixels of four bytes, `width` to a row, on a canvas: the browser's `ImageData`, called by name.
fn put_pixels(context: &CanvasRenderingContext2d, pixels: &[u8], width: usize) -> Option<()> {
    let named = |of: &JsValue, name: &str| -> Option<Function> {
        Reflect::get(of, &name.into()).ok()?.dyn_into().ok()
    };
    let bytes = Uint8ClampedArray::from(pixels);
    let class = named(&js_sys::global(), "ImageData")?;
    let image = Reflect::construct(&class, &Array::of2(&bytes, &JsValue::from(width as u32))).ok()?;
    named(context, "putImageData")?.call3(context, &image, &0.into(), &0.into()).ok().map(drop)
}

fn context_of(canvas: &HtmlCanvasElement, w: f64, h: f64) -> Option<CanvasRenderingContext2d> {
    if !(w >= 1.0 && h >= 1.0) {
        return None;
    }
    if canvas.width() != w as u32 || canvas.height() != h as u32 {
        canvas.set_width(w as u32);
        canvas.set_height(h as u32);
    }
    canvas.get_context("2d").ok()??.dyn_into().ok()
}

/// Colours of the levels: from the ground of a lane over the waveform's to ink.
fn colours(theme: Theme) -> [[u8; 4]; 256] {
    let stops = [Tone::Lane, Tone::Wave, Tone::WaveCore, Tone::Ink].map(|t| t.colour(theme));
    let mut out = [[0; 4]; 256];
    for (level, colour) in out.iter_mut().enumerate() {
        // What is quiet stays quiet: most of a recording is.
        let at = (level as f64 / 255.0).powf(1.4) * 3.0;
        let step = (at.floor() as usize).min(2);
        let mix = |part: fn(Rgba) -> u8| {
            let (a, b) = (f64::from(part(stops[step])), f64::from(part(stops[step + 1])));
            (a + (b - a) * (at - step as f64)).round() as u8
        };
        *colour = [mix(|c| c.0), mix(|c| c.1), mix(|c| c.2), 255];
    }
    out
}
