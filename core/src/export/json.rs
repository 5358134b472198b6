//! Tracks as JSON; the published schema is `static/schema/servo-track.schema.json`.

use super::fixed;
use super::track::{Motion, Output, ServoTrack, TrackMeta, TrackServo};
use super::{ExportError, TrackError};
use serde::Deserialize;
use serde_json::Value;
use std::fmt::Write;

const FORMAT: &str = "lipwright-track";
/// Version 2 added knots with slopes; a track without them is still written as version 1.
const VERSION: u64 = 2;

impl ServoTrack {
    /// The track's JSON text: one line per servo, fixed-point numbers, read back exactly.
    #[must_use]
    pub fn to_json(&self) -> String {
        let quoted = |text: &str| Value::from(text).to_string();
        let version = if self.is_smooth() { 2 } else { 1 };
        let mut out = String::new();
        // Writing to a String cannot fail, so results are dropped below.
        let _ = write!(
            out,
            "{{\n  \"format\": \"{FORMAT}\",\n  \"version\": {version},\n  \"line\": {},\n  \"audio\": {{\"name\": {}, \"sha256\": {}}},\n  \"rig\": {{\"name\": {}, \"sha256\": {}}},\n  \"frame_ms\": {},\n  \"start_ms\": {},\n  \"frames\": {},\n  \"servos\": [",
            quoted(&self.meta.line),
            quoted(&self.meta.audio_name),
            quoted(&self.meta.audio_sha256),
            quoted(&self.rig_name),
            quoted(&self.rig_sha256),
            fixed::write(self.frame_us, 3),
            fixed::write(self.start_us, 3),
            self.frames,
        );
        for (i, servo) in self.servos.iter().enumerate() {
            let comma = if i == 0 { "" } else { "," };
            let _ = write!(out, "{comma}\n    {{\"name\": {}, ", quoted(&servo.name));
            if let Some(o) = &servo.output {
                let _ =
                    write!(out, "\"controller\": {}, \"channel\": {}, ", quoted(&o.controller), o.channel);
            }
            match &servo.motion {
                Motion::Dense(pulses) => {
                    out.push_str("\"pulses_us\": [");
                    for (k, p) in pulses.iter().enumerate() {
                        let comma = if k == 0 { "" } else { "," };
                        let _ = write!(out, "{comma}{}", fixed::write(i64::from(*p), 1));
                    }
                }
                Motion::Smooth(knots) => {
                    out.push_str("\"smooth_knots\": [");
                    for (k, (frame, p, slope)) in knots.iter().enumerate() {
                        let comma = if k == 0 { "" } else { "," };
                        let (p, slope) = (fixed::write(i64::from(*p), 1), fixed::write(i64::from(*slope), 2));
                        let _ = write!(out, "{comma}[{frame},{p},{slope}]");
                    }
                }
                Motion::Keyed(knots) => {
                    out.push_str("\"knots\": [");
                    for (k, (frame, p)) in knots.iter().enumerate() {
                        let comma = if k == 0 { "" } else { "," };
                        let _ = write!(out, "{comma}[{frame},{}]", fixed::write(i64::from(*p), 1));
                    }
                }
            }
            out.push_str("]}");
        }
        out.push_str("\n  ]\n}\n");
        out
    }

    /// Reads a track's JSON text. Unknown fields are passed over.
    ///
    /// # Errors
    /// Where it is no JSON, no track, from a newer version, or does not hold together.
    pub fn from_json(text: &str) -> Result<Self, TrackError> {
        let head: Head = serde_json::from_str(text).map_err(json_error)?;
        if head.format.as_str() != Some(FORMAT) {
            let found = match &head.format {
                Value::Null => "nothing".to_owned(),
                Value::Array(_) | Value::Object(_) => "no text".to_owned(),
                other => other.to_string().chars().take(60).collect(),
            };
            return Err(TrackError::NotATrack { found });
        }
        if let Some(found) = head.version.as_u64()
            && found > VERSION
        {
            return Err(TrackError::Newer { found, supported: VERSION });
        }
        let raw: RawTrack = serde_json::from_str(text).map_err(json_error)?;
        if raw.version == 0 {
            return Err(TrackError::field("version", "is 0", "export the track again"));
        }
        let ms = |value: f64, field: &str| {
            fixed::scaled(value, 3).ok_or_else(|| {
                TrackError::field(field, format!("is {value}"), "give milliseconds with at most 3 decimals")
            })
        };
        let servos = raw.servos.into_iter().map(RawServo::checked).collect::<Result<_, _>>()?;
        Self {
            meta: TrackMeta { line: raw.line, audio_name: raw.audio.name, audio_sha256: raw.audio.sha256 },
            rig_name: raw.rig.name,
            rig_sha256: raw.rig.sha256,
            frame_us: ms(raw.frame_ms, "frame_ms")?,
            start_us: ms(raw.start_ms, "start_ms")?,
            frames: raw.frames,
            servos,
        }
        .checked()
    }

    /// Writes the JSON, reads it back and verifies it against the rig.
    ///
    /// # Errors
    /// Where the track breaks a limit of the rig, or does not read back as itself.
    pub fn export_json(&self, rig: &crate::rig::Rig) -> Result<String, ExportError> {
        let text = self.to_json();
        super::recheck(self, &Self::from_json(&text)?, rig)?;
        Ok(text)
    }
}

fn json_error(e: serde_json::Error) -> TrackError {
    let text = e.to_string();
    let reason = text.split(" at line ").next().unwrap_or(&text).to_owned();
    TrackError::Json { line: e.line(), column: e.column(), reason }
}

#[derive(Deserialize)]
struct Head {
    #[serde(default)]
    format: Value,
    #[serde(default)]
    version: Value,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct RawStamp {
    name: String,
    sha256: String,
}

#[derive(Deserialize)]
struct RawTrack {
    version: u64,
    #[serde(default)]
    line: String,
    #[serde(default)]
    audio: RawStamp,
    #[serde(default)]
    rig: RawStamp,
    frame_ms: f64,
    start_ms: f64,
    frames: usize,
    servos: Vec<RawServo>,
}

#[derive(Deserialize)]
struct RawServo {
    name: String,
    controller: Option<String>,
    channel: Option<u8>,
    pulses_us: Option<Vec<f64>>,
    knots: Option<Vec<(usize, f64)>>,
    smooth_knots: Option<Vec<(usize, f64, f64)>>,
}

impl RawServo {
    fn checked(self) -> Result<TrackServo, TrackError> {
        let name = self.name;
        let pulse = |value: f64| {
            fixed::scaled(value, 1)
                .filter(|tenths| (0..=(fixed::LONGEST_PULSE_US * 10.0) as i64).contains(tenths))
                .and_then(|tenths| u32::try_from(tenths).ok())
                .ok_or_else(|| {
                    TrackError::field(
                        format!("servo \"{name}\""),
                        format!("has the pulse {value}"),
                        "give 0 to 10000 us with at most one decimal",
                    )
                })
        };
        let motion = match (self.pulses_us, self.knots, self.smooth_knots) {
            (Some(pulses), None, None) => {
                Motion::Dense(pulses.into_iter().map(pulse).collect::<Result<_, _>>()?)
            }
            (None, Some(knots), None) => {
                let knots = knots.into_iter().map(|(frame, p)| Ok((frame, pulse(p)?)));
                Motion::Keyed(knots.collect::<Result<_, _>>()?)
            }
            (None, None, Some(knots)) => {
                let slope = |k: f64| fixed::checked_slope(&name, k);
                let knots = knots.into_iter().map(|(frame, p, k)| Ok((frame, pulse(p)?, slope(k)?)));
                Motion::Smooth(knots.collect::<Result<_, _>>()?)
            }
            _ => {
                return Err(TrackError::field(
                    format!("servo \"{name}\""),
                    "does not have exactly one of pulses_us, knots and smooth_knots",
                    "give pulses_us (one per frame), knots ([frame, pulse]) or smooth_knots ([frame, pulse, slope])",
                ));
            }
        };
        let output = match (self.controller, self.channel) {
            (controller, Some(channel)) => {
                Some(Output { controller: controller.unwrap_or_else(|| "main".to_owned()), channel })
            }
            (_, None) => None,
        };
        Ok(TrackServo { name, output, motion })
    }
}
