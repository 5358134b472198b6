//! Tracks as a Standard MIDI File for show control: one controller lane a servo.
//!
//! Format 1 (MIDI Association, "Standard MIDI Files 1.0", RP-001). The first track holds the tempo,
//! the words as lyrics and a marker where the sound starts; then comes one track a servo, named after
//! it. Time 0 is the first frame of the motion.
//!
//! - **Time.** 480 ticks a quarter note and 24 frames a quarter note, so that a frame is exactly 20
//!   ticks whatever its length in µs; frames of 20 ms give 125 beats a minute and ticks of 1 ms.
//! - **Lanes.** Servo i (from 0, in rig order) sits on MIDI channel 1 + i / 16, controller
//!   16 + i mod 16 with its fine half on the controller 32 above: the general-purpose and undefined
//!   pairs 16–31 and 48–63 of the MIDI 1.0 controller table (from memory), to which no instrument
//!   gives a meaning of its own.
//! - **Values.** 14 bits: 0 is the servo's shortest pulse in the rig, 16383 its longest. Over 1400 µs
//!   that is a step of 0.09 µs.
//! - Events stand only where a value changes, coarse half first: a receiver sets the fine half to 0
//!   when a coarse one comes (MIDI 1.0), so a fine half always follows it.
//!
//! Sixteen servos moving at 50 Hz can exceed the 31 250 baud of a five-pin MIDI cable; files and USB
//! do not mind.

use super::{ExportError, ServoTrack, TrackError, verify};
use crate::line::Line;
use crate::rig::{Rig, Servo};
use crate::units::{Microseconds, Seconds};
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};

const TICKS_PER_QUARTER: u16 = 480;
const FRAMES_PER_QUARTER: i64 = 24;
/// 480 / 24.
const TICKS_PER_FRAME: u32 = 20;
const LARGEST: u16 = 0x3FFF;
/// Controllers 16 to 31 have their fine half 32 above.
const FIRST_CONTROLLER: u8 = 16;
const FINE: u8 = 32;

/// Where one servo's motion stands in the file, and what its values mean.
#[derive(Clone, Debug, PartialEq)]
pub struct MidiLane {
    /// Servo, as in the rig.
    pub servo: String,
    /// MIDI channel, 1 to 16, as people count.
    pub channel: u8,
    /// Controller of the coarse half, 16 to 31.
    pub controller: u8,
    /// Pulse that value 0 means.
    pub low: Microseconds,
    /// Pulse that value 16383 means.
    pub high: Microseconds,
}

impl MidiLane {
    /// The lane of servo number `index` in a rig.
    fn of(index: usize, servo: &Servo) -> Self {
        Self {
            servo: servo.name.clone(),
            // A track holds at most 256 servos, sixteen on each of sixteen channels.
            channel: (index / 16) as u8 % 16 + 1,
            controller: FIRST_CONTROLLER + (index % 16) as u8,
            low: servo.pulse_min,
            high: servo.pulse_max,
        }
    }

    /// The value nearest to a pulse; pulses beyond the range count as its ends.
    #[must_use]
    pub fn value(&self, pulse: Microseconds) -> u16 {
        let share = (pulse - self.low) / (self.high - self.low);
        (share.clamp(0.0, 1.0) * f64::from(LARGEST)).round() as u16
    }

    /// The pulse that a value means.
    #[must_use]
    pub fn pulse(&self, value: u16) -> Microseconds {
        self.low + (self.high - self.low) * (f64::from(value.min(LARGEST)) / f64::from(LARGEST))
    }
}

/// The lanes of a rig, in its order.
#[must_use]
pub fn midi_lanes(rig: &Rig) -> Vec<MidiLane> {
    rig.servos().iter().enumerate().map(|(i, servo)| MidiLane::of(i, servo)).collect()
}

impl ServoTrack {
    /// Writes the track as a Standard MIDI File, reads it back and checks both against the rig.
    /// Words come from `line` where one is given.
    ///
    /// # Errors
    /// Where the track breaks a limit of the rig or belongs to another, a frame is longer than 0.69 s
    /// (no MIDI tempo is that slow), or the file does not read back as the track.
    pub fn export_midi(&self, rig: &Rig, line: Option<&Line>) -> Result<Vec<u8>, ExportError> {
        let verdict = verify(self, rig);
        if !verdict.holds() {
            return Err(ExportError::Breaches(verdict));
        }
        let lanes = midi_lanes(rig);
        let columns: Vec<Vec<u16>> = lanes.iter().map(|lane| self.values(lane)).collect::<Result<_, _>>()?;
        let bytes = self.write_midi(&lanes, &columns, line)?;
        if read_values(&bytes, &lanes, self.frames).as_ref() != Some(&columns) {
            return Err(ExportError::Differs);
        }
        Ok(bytes)
    }

    /// One value a frame.
    fn values(&self, lane: &MidiLane) -> Result<Vec<u16>, TrackError> {
        let servo = self.servos.iter().find(|s| s.name == lane.servo).ok_or_else(|| {
            TrackError::field(
                format!("servo \"{}\"", lane.servo),
                "is not in the track",
                "plan the line for this rig again",
            )
        })?;
        Ok(servo.pulses().map(|p| lane.value(p)).collect())
    }

    fn write_midi(
        &self,
        lanes: &[MidiLane],
        columns: &[Vec<u16>],
        line: Option<&Line>,
    ) -> Result<Vec<u8>, TrackError> {
        let tempo = u32::try_from(self.frame_us * FRAMES_PER_QUARTER).ok().and_then(u24::try_from);
        let tempo = tempo.ok_or_else(|| {
            TrackError::field(
                "frame",
                format!("is {}, longer than a MIDI tempo can say", self.frame()),
                "plan with frames of 10 to 40 ms",
            )
        })?;
        let words = line.map(Line::words).unwrap_or_default();
        let notes: Vec<String> = lanes.iter().map(note).collect();

        let mut first = Lane::default();
        first.meta(0, MetaMessage::TrackName(self.meta.line.as_bytes()));
        first.meta(0, MetaMessage::Tempo(tempo));
        // Words and marker in order of time.
        let mut signs: Vec<(u32, MetaMessage<'_>)> =
            words.iter().map(|w| (self.tick(w.start), MetaMessage::Lyric(w.text.as_bytes()))).collect();
        signs.push((self.tick(Seconds::ZERO), MetaMessage::Marker(b"sound")));
        signs.sort_by_key(|s| s.0);
        for (tick, sign) in signs {
            first.meta(tick, sign);
        }
        let end = TICKS_PER_FRAME * (self.frames - 1) as u32;
        let mut tracks = vec![first.finish(end)];
        for ((lane, column), note) in lanes.iter().zip(columns).zip(&notes) {
            let mut events = Lane::default();
            events.meta(0, MetaMessage::TrackName(lane.servo.as_bytes()));
            events.meta(0, MetaMessage::Text(note.as_bytes()));
            let mut before = None;
            for (frame, value) in column.iter().enumerate() {
                events.value(TICKS_PER_FRAME * frame as u32, lane, before, *value);
                before = Some(*value);
            }
            tracks.push(events.finish(end));
        }
        let timing = Timing::Metrical(u15::new(TICKS_PER_QUARTER));
        let smf = Smf { header: Header::new(Format::Parallel, timing), tracks };
        let mut bytes = Vec::new();
        smf.write_std(&mut bytes).map_err(|e| {
            TrackError::field("MIDI", e.to_string(), "give the line and its servos shorter names")
        })?;
        Ok(bytes)
    }

    /// Tick nearest to a line time.
    fn tick(&self, time: Seconds) -> u32 {
        let frames = (time.value() * 1e6 - self.start_us as f64) / self.frame_us as f64;
        let last = f64::from(TICKS_PER_FRAME) * (self.frames - 1) as f64;
        (frames * f64::from(TICKS_PER_FRAME)).round().clamp(0.0, last) as u32
    }
}

/// What a person reads in a sequencer about a lane.
fn note(lane: &MidiLane) -> String {
    format!(
        "controllers {} and {}: 0 = {} us, {LARGEST} = {} us",
        lane.controller,
        lane.controller + FINE,
        lane.low.value(),
        lane.high.value()
    )
}

/// The events of one track, in order of time.
#[derive(Default)]
struct Lane<'a> {
    events: Vec<TrackEvent<'a>>,
    at: u32,
}

impl<'a> Lane<'a> {
    fn push(&mut self, tick: u32, kind: TrackEventKind<'a>) {
        // At most 2 000 000 frames of 20 ticks: far below 28 bits.
        self.events.push(TrackEvent { delta: u28::new(tick - self.at), kind });
        self.at = tick;
    }

    fn meta(&mut self, tick: u32, message: MetaMessage<'a>) {
        self.push(tick, TrackEventKind::Meta(message));
    }

    fn value(&mut self, tick: u32, lane: &MidiLane, before: Option<u16>, value: u16) {
        let channel = u4::new(lane.channel - 1);
        let mut send = |controller: u8, value: u16| {
            let message = MidiMessage::Controller {
                controller: u7::new(controller),
                value: u7::new((value & 0x7F) as u8),
            };
            self.push(tick, TrackEventKind::Midi { channel, message });
        };
        let coarse = before.is_none_or(|b| b >> 7 != value >> 7);
        if coarse {
            send(lane.controller, value >> 7);
        }
        if coarse || before != Some(value) {
            send(lane.controller + FINE, value);
        }
    }

    fn finish(mut self, end: u32) -> Vec<TrackEvent<'a>> {
        self.meta(end.max(self.at), MetaMessage::EndOfTrack);
        self.events
    }
}

/// What a receiver of the file holds in each lane after each frame.
fn read_values(bytes: &[u8], lanes: &[MidiLane], frames: usize) -> Option<Vec<Vec<u16>>> {
    let smf = Smf::parse(bytes).ok()?;
    let mut columns = Vec::new();
    for (lane, track) in lanes.iter().zip(smf.tracks.get(1..)?) {
        let (mut column, mut held, mut at) = (Vec::with_capacity(frames), 0u16, 0u32);
        for event in track {
            at += event.delta.as_int();
            // All that came before this instant was held until now.
            while (column.len() as u64) * u64::from(TICKS_PER_FRAME) < u64::from(at) {
                column.push(held);
            }
            let TrackEventKind::Midi { channel, message } = event.kind else { continue };
            let MidiMessage::Controller { controller, value } = message else { continue };
            let value = u16::from(value.as_int());
            if channel.as_int() + 1 != lane.channel {
                return None;
            }
            held = match controller.as_int() {
                c if c == lane.controller => value << 7,
                c if c == lane.controller + FINE => held & !0x7F | value,
                _ => return None,
            };
        }
        column.push(held);
        (column.len() == frames).then_some(())?;
        columns.push(column);
    }
    Some(columns)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::{Knot, TrackMeta};
    use crate::rig::Preset;

    /// The head at rest but for one slow move of the first servo: within every limit.
    fn track(rig: &Rig) -> ServoTrack {
        let knots: Vec<Vec<Knot>> = rig
            .servos()
            .iter()
            .zip(rig.rest_angles())
            .map(|(s, a)| vec![Knot { frame: 0, pulse: s.pulse(a) }, Knot { frame: 60, pulse: s.pulse(a) }])
            .collect();
        let meta = TrackMeta { line: "Ahoy – twice".into(), ..TrackMeta::default() };
        ServoTrack::keyed(rig, meta, Seconds::new(0.02), Seconds::new(-0.1), 61, &knots).expect("a track")
    }

    #[test]
    fn a_value_is_within_half_a_step_of_its_pulse() {
        for preset in Preset::ALL {
            for (lane, servo) in midi_lanes(&preset.rig()).iter().zip(preset.rig().servos()) {
                let half = (lane.high - lane.low).value() / f64::from(LARGEST) / 2.0;
                for k in 0..=1000 {
                    let pulse =
                        servo.pulse_min + (servo.pulse_max - servo.pulse_min) * (f64::from(k) / 1000.0);
                    assert!((lane.pulse(lane.value(pulse)) - pulse).abs().value() <= half + 1e-9);
                }
            }
        }
    }

    #[test]
    fn lanes_never_share_a_controller() {
        let rig = Rig::harbourmaster();
        let lanes: Vec<MidiLane> = (0..256).map(|i| MidiLane::of(i, &rig.servos()[0])).collect();
        let keys: std::collections::HashSet<_> = lanes.iter().map(|l| (l.channel, l.controller)).collect();
        assert_eq!(keys.len(), 256);
        assert!(lanes.iter().all(|l| (1..=16).contains(&l.channel) && (16..32).contains(&l.controller)));
    }

    #[test]
    fn writes_what_reads_back_and_refuses_what_breaks_a_limit() {
        let rig = Rig::harbourmaster();
        let track = track(&rig);
        let bytes = track.export_midi(&rig, None).expect("a head at rest breaks nothing");
        let smf = Smf::parse(&bytes).expect("reads");
        assert_eq!(smf.tracks.len(), 1 + rig.servos().len());
        assert!(track.export_midi(&Rig::jaw_only(), None).is_err(), "another rig's track");
        let slow = ServoTrack { frame_us: 1_000_000, ..track };
        assert!(slow.export_midi(&rig, None).expect_err("no tempo").to_string().contains("tempo"));
    }
}
