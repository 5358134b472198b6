//! Walks a list of drawing commands onto a canvas. The only place that knows device pixels.

use crate::scene::{Align, DrawCmd, Face, Paint, Path, Piece, Theme};
use wasm_bindgen::JsCast;
use web_sys::{CanvasRenderingContext2d, HtmlCanvasElement};

/// Sizes the canvas's pixels to its place on the screen and draws the commands.
///
/// `width` and `height` are logical pixels; a canvas that is gone or has no room is left alone.
pub fn paint(canvas: &HtmlCanvasElement, width: f64, height: f64, theme: Theme, commands: &[DrawCmd]) {
    let ratio = web_sys::window().map_or(1.0, |w| w.device_pixel_ratio()).clamp(0.5, 4.0);
    let (w, h) = ((width * ratio).round(), (height * ratio).round());
    if !(w >= 1.0 && h >= 1.0) {
        return;
    }
    if canvas.width() != w as u32 || canvas.height() != h as u32 {
        canvas.set_width(w as u32);
        canvas.set_height(h as u32);
    }
    let Ok(Some(context)) = canvas.get_context("2d") else { return };
    let Ok(context) = context.dyn_into::<CanvasRenderingContext2d>() else { return };
    // Each call below fails only for values that the scenes never make; a failure costs one mark.
    let _ = context.set_transform(ratio, 0.0, 0.0, ratio, 0.0, 0.0);
    context.clear_rect(0.0, 0.0, width, height);
    context.set_line_cap("round");
    context.set_line_join("round");
    let mut clips = 0usize;
    for command in commands {
        match command {
            DrawCmd::Fill(path, paint) => {
                trace(&context, path);
                set_fill(&context, paint, theme);
                context.fill();
            }
            DrawCmd::Stroke(path, stroke) => {
                trace(&context, path);
                set_stroke(&context, &stroke.paint, theme);
                context.set_line_width(stroke.width);
                let dash = js_sys::Array::new();
                if let Some((on, off)) = stroke.dash {
                    dash.push(&on.into());
                    dash.push(&off.into());
                }
                let _ = context.set_line_dash(&dash);
                context.stroke();
            }
            DrawCmd::Text { at, text, size, face, align, upright, paint } => {
                let family = match face {
                    Face::Text => format!("{size}px B612, sans-serif"),
                    Face::Strong => format!("bold {size}px B612, sans-serif"),
                };
                context.set_font(&family);
                context.set_text_align(match align {
                    Align::Left => "left",
                    Align::Centre => "center",
                    Align::Right => "right",
                });
                set_fill(&context, paint, theme);
                if *upright {
                    context.save();
                    let _ = context.translate(at.x, at.y);
                    let _ = context.rotate(-std::f64::consts::FRAC_PI_2);
                    let _ = context.fill_text(text, 0.0, 0.0);
                    context.restore();
                } else {
                    let _ = context.fill_text(text, at.x, at.y);
                }
            }
            DrawCmd::Clip(path) => {
                context.save();
                clips += 1;
                trace(&context, path);
                context.clip();
            }
            DrawCmd::Unclip => {
                if clips > 0 {
                    clips -= 1;
                    context.restore();
                }
            }
        }
    }
    for _ in 0..clips {
        context.restore();
    }
}

fn trace(context: &CanvasRenderingContext2d, path: &Path) {
    context.begin_path();
    for piece in path.pieces() {
        match piece {
            Piece::Move(p) => context.move_to(p.x, p.y),
            Piece::Line(p) => context.line_to(p.x, p.y),
            Piece::Cubic(a, b, p) => context.bezier_curve_to(a.x, a.y, b.x, b.y, p.x, p.y),
            Piece::Close => context.close_path(),
        }
    }
}

enum Style {
    Plain(String),
    Gradient(web_sys::CanvasGradient),
}

fn style(context: &CanvasRenderingContext2d, paint: &Paint, theme: Theme) -> Style {
    let stops = |gradient: web_sys::CanvasGradient, stops: &[(f64, crate::scene::Rgba)]| {
        for (at, colour) in stops {
            let _ = gradient.add_color_stop(at.clamp(0.0, 1.0) as f32, &colour.css());
        }
        Style::Gradient(gradient)
    };
    match paint {
        Paint::Tone(tone) => Style::Plain(tone.colour(theme).css()),
        Paint::Faint(tone, opacity) => Style::Plain(tone.colour(theme).faint(*opacity).css()),
        Paint::Own(colour) => Style::Plain(colour.css()),
        Paint::Linear(a, b, s) => stops(context.create_linear_gradient(a.x, a.y, b.x, b.y), s),
        Paint::Radial(c, r, s) => {
            match context.create_radial_gradient(c.x, c.y, 0.0, c.x, c.y, r.max(0.01)) {
                Ok(gradient) => stops(gradient, s),
                Err(_) => Style::Plain(s.first().map_or_else(String::new, |(_, c)| c.css())),
            }
        }
    }
}

fn set_fill(context: &CanvasRenderingContext2d, paint: &Paint, theme: Theme) {
    match style(context, paint, theme) {
        Style::Plain(css) => context.set_fill_style_str(&css),
        Style::Gradient(gradient) => context.set_fill_style_canvas_gradient(&gradient),
    }
}

fn set_stroke(context: &CanvasRenderingContext2d, paint: &Paint, theme: Theme) {
    match style(context, paint, theme) {
        Style::Plain(css) => context.set_stroke_style_str(&css),
        Style::Gradient(gradient) => context.set_stroke_style_canvas_gradient(&gradient),
    }
}
