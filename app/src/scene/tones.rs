//! Colours: names for what they mean, and their values in the dark and the light theme.
//!
//! The ground is a sea chart's: ink on pale water by day, dim water by night; magenta marks what a
//! chart would mark in magenta, the dangers. Articulators keep hues that stay apart for the common
//! kinds of colour blindness (vermilion, sea green, violet and amber differ in lightness as well).

use lipwright_core::phonetics::Articulator;

/// A colour of its own: red, green, blue 0..=255 and opacity 0..=1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rgba(pub u8, pub u8, pub u8, pub f64);

impl Rgba {
    /// The colour as CSS.
    #[must_use]
    pub fn css(self) -> String {
        format!("rgba({},{},{},{})", self.0, self.1, self.2, self.3)
    }

    /// From `0xRRGGBB`, solid.
    #[must_use]
    pub const fn hex(rgb: u32) -> Self {
        Self((rgb >> 16) as u8, (rgb >> 8) as u8, rgb as u8, 1.0)
    }

    /// The same colour, thinner.
    #[must_use]
    pub const fn faint(self, opacity: f64) -> Self {
        Self(self.0, self.1, self.2, self.3 * opacity)
    }
}

/// Dark or light.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Theme {
    #[default]
    Dark,
    Light,
}

/// What a colour means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Ground of a lane.
    Lane,
    /// Ground of a lane's quieter half (every other second).
    LaneShade,
    /// Fine lines.
    Rule,
    /// Text and strong lines.
    Ink,
    /// Quiet text.
    Quiet,
    /// Waveform.
    Wave,
    /// Loudness inside the waveform.
    WaveCore,
    /// The planned motion.
    Planned,
    /// What was wanted.
    Wanted,
    /// Band that a servo may move in.
    Band,
    /// What could not be reached, and every danger.
    Danger,
    /// Selection and focus.
    Signal,
    /// Rest: nothing leads.
    LeadNone,
    /// Lips lead.
    LeadLips,
    /// Tongue tip leads.
    LeadTip,
    /// Tongue body leads.
    LeadBody,
    /// Jaw leads.
    LeadJaw,
    /// Ink that stays dark on a light-filled segment.
    OnLead,
}

impl Tone {
    /// The colour in a theme.
    #[must_use]
    pub const fn colour(self, theme: Theme) -> Rgba {
        use Tone::*;
        Rgba::hex(match theme {
            Theme::Dark => match self {
                Lane => 0x14212b,
                LaneShade => 0x182630,
                Rule => 0x2b3d4a,
                Ink => 0xe6edf0,
                Quiet => 0x93a7b3,
                Wave => 0x5f8ba6,
                WaveCore => 0xa9cde0,
                Planned => 0xf0e2bd,
                Wanted => 0x8fa3b0,
                Band => 0x1c2d38,
                Danger => 0xff6ab0,
                Signal => 0x58c4f2,
                LeadNone => 0x55666f,
                LeadLips => 0xee7a56,
                LeadTip => 0x3fb79a,
                LeadBody => 0x9a8cf0,
                LeadJaw => 0xe9b949,
                OnLead => 0x0d1820,
            },
            Theme::Light => match self {
                Lane => 0xf6f9fa,
                LaneShade => 0xedf3f5,
                Rule => 0xc3d0d7,
                Ink => 0x14232e,
                Quiet => 0x51646f,
                Wave => 0x7fa5ba,
                WaveCore => 0x2f6484,
                Planned => 0x1d3a4d,
                Wanted => 0x7d929e,
                Band => 0xe0ebef,
                Danger => 0xc2186f,
                Signal => 0x0a6ea8,
                LeadNone => 0xb4c0c6,
                LeadLips => 0xee8a66,
                LeadTip => 0x4bbb9f,
                LeadBody => 0xa99df2,
                LeadJaw => 0xedc158,
                OnLead => 0x101d27,
            },
        })
    }
}

/// The colour of an articulator.
#[must_use]
pub const fn articulator_tone(articulator: Articulator) -> Tone {
    match articulator {
        Articulator::None => Tone::LeadNone,
        Articulator::Lips => Tone::LeadLips,
        Articulator::TongueTip => Tone::LeadTip,
        Articulator::TongueBody => Tone::LeadBody,
        Articulator::Jaw => Tone::LeadJaw,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast ratio of WCAG 2.1, from its definition.
    fn luminance(c: Rgba) -> f64 {
        let lin = |v: u8| {
            let v = f64::from(v) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * lin(c.0) + 0.7152 * lin(c.1) + 0.0722 * lin(c.2)
    }

    fn contrast(a: Rgba, b: Rgba) -> f64 {
        let (x, y) = (luminance(a), luminance(b));
        (x.max(y) + 0.05) / (x.min(y) + 0.05)
    }

    #[test]
    fn text_can_be_read_in_both_themes() {
        for theme in [Theme::Dark, Theme::Light] {
            for (text, ground) in [
                (Tone::Ink, Tone::Lane),
                (Tone::Ink, Tone::Band),
                (Tone::Quiet, Tone::Lane),
                (Tone::Danger, Tone::Lane),
                (Tone::Signal, Tone::Lane),
                (Tone::OnLead, Tone::LeadLips),
                (Tone::OnLead, Tone::LeadTip),
                (Tone::OnLead, Tone::LeadBody),
                (Tone::OnLead, Tone::LeadJaw),
            ] {
                let ratio = contrast(text.colour(theme), ground.colour(theme));
                assert!(ratio >= 4.5, "{text:?} on {ground:?} in {theme:?}: {ratio:.2}");
            }
        }
    }

    /// Dichromat simulation by F. Viénot, H. Brettel and J. Mollon (1999), in linear RGB through
    /// the LMS space of that paper (matrices from memory): leads must stay apart when red and
    /// green cones cannot be told apart.
    #[test]
    fn articulators_stay_apart_for_colour_blind_eyes() {
        let lin = |v: u8| (f64::from(v) / 255.0).powf(2.2);
        let lms = |c: Rgba| {
            let (r, g, b) = (lin(c.0), lin(c.1), lin(c.2));
            [
                17.8824 * r + 43.5161 * g + 4.11935 * b,
                3.45565 * r + 27.1554 * g + 3.86714 * b,
                0.0299566 * r + 0.184309 * g + 1.46709 * b,
            ]
        };
        let protan = |[_, m, s]: [f64; 3]| [2.02344 * m - 2.52581 * s, m, s];
        let deutan = |[l, _, s]: [f64; 3]| [l, 0.494207 * l + 1.24827 * s, s];
        let leads = [Tone::LeadNone, Tone::LeadLips, Tone::LeadTip, Tone::LeadBody, Tone::LeadJaw];
        for theme in [Theme::Dark, Theme::Light] {
            for (i, a) in leads.iter().enumerate() {
                for b in &leads[i + 1..] {
                    for see in [protan as fn([f64; 3]) -> [f64; 3], deutan] {
                        let (p, q) = (see(lms(a.colour(theme))), see(lms(b.colour(theme))));
                        // Compare cube roots, which stand in for perceived steps.
                        let d: f64 = (0..3)
                            .map(|k| (p[k].max(0.0).cbrt() - q[k].max(0.0).cbrt()) * [1.0, 1.0, 2.0][k])
                            .map(|d| d * d)
                            .sum::<f64>()
                            .sqrt();
                        assert!(d > 0.15, "{a:?} and {b:?} in {theme:?}: {d:.3}");
                    }
                }
            }
        }
    }
}
