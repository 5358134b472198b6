//! `config.h`: what the program has to know about this head and this board.

use super::text::plain;
use super::{Outputs, SketchError, SketchSettings};
use crate::export::packed::{Packed, rig_mark};
use crate::rig::{FacePart, Rig, Servo};
use crate::units::Degrees;
use std::fmt::Write;

/// One board and its servos.
pub(super) struct Board<'a> {
    pub(super) rig: &'a Rig,
    pub(super) controller: &'a str,
    pub(super) index: usize,
    pub(super) servos: Vec<Joint<'a>>,
    role: &'static str,
}

/// One servo as the sketch sees it; pulses in tenths of a microsecond, limits per period.
pub(super) struct Joint<'a> {
    servo: &'a Servo,
    pin: u8,
    rest: u32,
    low: u32,
    high: u32,
    rise: u32,
    fall: u32,
    bend: u32,
    idle: u32,
}

/// First servo pin, and how many follow it.
const FIRST_PIN: u8 = 22;
const PINS: u8 = 24;
const DRIVER_CHANNELS: u8 = 16;
/// How far brows and neck move between lines, tenths of a microsecond each way.
const IDLE: u32 = 150;

impl<'a> Board<'a> {
    pub(super) fn new(
        rig: &'a Rig,
        controller: &'a str,
        index: usize,
        many: bool,
        settings: &SketchSettings,
        packed: &[Packed],
    ) -> Result<Self, SketchError> {
        let mut servos = Vec::new();
        for (i, servo) in rig.servos().iter().enumerate().filter(|(_, s)| s.controller == controller) {
            servos.push(Joint::new(rig, i, servo, settings, packed)?);
        }
        let role = match (many, index) {
            (false, _) => "SYNC_NONE",
            (true, 0) => "SYNC_LEADER",
            (true, _) => "SYNC_FOLLOWER",
        };
        Ok(Self { rig, controller, index, servos, role })
    }

    /// The text of `config.h`.
    pub(super) fn config(&self, settings: &SketchSettings, lines: usize) -> String {
        let driver = settings.outputs == Outputs::Driver;
        let select_bits = lines.next_power_of_two().trailing_zeros();
        let idle_periods = if self.servos.iter().any(|s| s.idle > 0) { 100 } else { 0 };
        let fields = [
            ("RIG", plain(self.rig.name())),
            ("BOARD", plain(self.controller)),
            ("HASH", format!("0x{:08X}", rig_mark(self.rig))),
            ("CHANNELS", self.servos.len().to_string()),
            ("LINES", lines.to_string()),
            ("DRIVER", u8::from(driver).to_string()),
            ("SELECT_BITS", select_bits.to_string()),
            ("AUDIO_LEAD", ((settings.audio_lead.value() * 1e6).round() as i64).to_string()),
            ("ROLE", self.role.to_owned()),
            ("IDLE_PERIODS", idle_periods.to_string()),
            ("TABLE", self.table()),
        ];
        // One pass from the left: what is put in is not looked at again.
        let mut out = String::new();
        let mut rest = TEMPLATE;
        while let Some((before, after)) = rest.split_once('@') {
            out.push_str(before);
            let Some((field, after)) = after.split_once('@') else { break };
            out.extend(fields.iter().find(|f| f.0 == field).map(|f| f.1.as_str()));
            rest = after;
        }
        out + rest
    }

    fn table(&self) -> String {
        let mut out = String::new();
        for s in &self.servos {
            // Writing to a String cannot fail.
            let _ = writeln!(
                out,
                "  {{{:>2}, {:>5}, {:>5}, {:>5}, {:>4}, {:>4}, {:>4}, {:>3}}},  // {}",
                s.pin,
                s.rest,
                s.low,
                s.high,
                s.rise,
                s.fall,
                s.bend,
                s.idle,
                plain(&s.servo.name)
            );
        }
        out
    }
}

impl<'a> Joint<'a> {
    fn new(
        rig: &'a Rig,
        index: usize,
        servo: &'a Servo,
        settings: &SketchSettings,
        packed: &[Packed],
    ) -> Result<Self, SketchError> {
        let (most, fix) = match settings.outputs {
            Outputs::Pins => (PINS, "pins are there for channels 0 to 23: give the servo another channel"),
            Outputs::Driver => (DRIVER_CHANNELS, "the driver has channels 0 to 15: give the servo another"),
        };
        if servo.channel >= most {
            return Err(SketchError::Channel {
                servo: servo.name.clone(),
                channel: servo.channel,
                board: servo.controller.clone(),
                fix,
            });
        }
        let pin = if settings.outputs == Outputs::Pins { FIRST_PIN + servo.channel } else { servo.channel };
        let tenths = |us: f64| (us * 10.0).round().clamp(0.0, 65_535.0) as u32;
        let per_frame =
            |x: f64| (10.0 * servo.us_per_degree.abs() * x + 1e-6).floor().clamp(1.0, 65_535.0) as u32;
        let (up, down) =
            (per_frame(servo.speed_up.value() * FRAME), per_frame(servo.speed_down.value() * FRAME));
        let (rise, fall) = if servo.us_per_degree > 0.0 { (up, down) } else { (down, up) };
        let rest = tenths(servo.pulse(rig.rest_angles()[index]).value());
        let (low, high) = range(rig, index, servo, rest, packed);
        Ok(Self {
            servo,
            pin,
            rest,
            low,
            high,
            rise,
            fall,
            bend: per_frame(servo.acceleration.value() * FRAME * FRAME),
            idle: if settings.idle && may_idle(rig, index) { IDLE } else { 0 },
        })
    }
}

const FRAME: f64 = 0.02;

/// The pulses a servo may get: its own range; where it alone moves its part of the face, no more than
/// the skin allows; and in any case what the lines need.
fn range(rig: &Rig, index: usize, servo: &Servo, rest: u32, packed: &[Packed]) -> (u32, u32) {
    let (mut low, mut high) = (servo.pulse_min.value(), servo.pulse_max.value());
    if rig.mechanism_of(servo.id).is_some_and(|m| m.servos().len() == 1) {
        // The skin's ends of all that hangs on this servo at once: one of two lids alone would go half its way.
        let (a, b) = rig.travel(servo.id);
        let (a, b) = (servo.pulse(a).value(), servo.pulse(b).value());
        (low, high) = (low.max(a.min(b)), high.min(a.max(b)));
    }
    let (mut low, mut high) = ((low * 10.0).floor() as u32, (high * 10.0).ceil() as u32);
    for pulse in packed.iter().flat_map(|p| p.played.servos()[index].pulses()) {
        let tenths = (pulse.value() * 10.0).round() as u32;
        (low, high) = (low.min(tenths), high.max(tenths));
    }
    (low.min(rest), high.max(rest))
}

/// Brows and neck may move a little between lines, where skin and linkage take it.
fn may_idle(rig: &Rig, index: usize) -> bool {
    let servo = &rig.servos()[index];
    let Some(mechanism) = rig.mechanism_of(servo.id) else { return false };
    let quiet = |part| matches!(part, FacePart::Brows | FacePart::Neck);
    if !mechanism.drives().iter().all(|d| quiet(d.dof.part())) {
        return false;
    }
    let amplitude = 0.1 * f64::from(IDLE) / servo.us_per_degree.abs();
    [-1.0, 1.0].into_iter().all(|way| {
        let mut angles = rig.rest_angles();
        angles[index] += Degrees::new(way * amplitude);
        let values = rig.forward(&angles);
        let fits = rig.dofs().iter().all(|d| (d.skin_min..=d.skin_max).contains(&values[d.dof]));
        fits && rig.check_linkages(&angles).is_empty()
    })
}

const TEMPLATE: &str = r#"// What this head and this board are like. Generated by Lipwright for the rig "@RIG@",
// board "@BOARD@". Pins and times may be changed here; servos and limits are the rig's: change them
// there and export again.
#pragma once
#include <stdint.h>

// Which rig the lines were planned for.
const uint32_t CONFIG_HASH = @HASH@;

const uint8_t CHANNELS = @CHANNELS@;      // servos on this board
const uint8_t LINES = @LINES@;          // lines in tracks.h
const uint16_t FRAME_US = 20000;     // a frame is a servo period

// 0: servos on pins. 1: on a 16-channel I2C PWM driver (PCA9685) at this address.
#define OUTPUT_DRIVER @DRIVER@
const uint8_t DRIVER_ADDRESS = 0x40;
const uint32_t DRIVER_CLOCK_HZ = 25000000;  // typical; measure a pulse and correct

// Inputs, active when pulled to ground (see inputs.cpp). The stop contact is normally closed.
const uint8_t TRIGGER_PIN = 2;
const uint8_t STOP_PIN = 3;
const uint8_t SELECT_FIRST_PIN = 4;  // this pin and those after it: the line's number in binary
const uint8_t SELECT_BITS = @SELECT_BITS@;

// Starts the audio player so long before the recording's first sound is due.
const uint8_t AUDIO_PIN = 10;
const bool AUDIO_ACTIVE_HIGH = true;
const bool AUDIO_HOLD = false;       // true: on as long as the line; false: a pulse of 80 ms
const int32_t AUDIO_LEAD_US = @AUDIO_LEAD@;

const uint8_t LED_PIN = 13;
const int8_t SERVO_POWER_PIN = 11;   // high once pulses run; -1 for none

// Several boards keep step by a pulse from the first one: join their SYNC_PINs and grounds.
#define SYNC_NONE 0
#define SYNC_LEADER 1
#define SYNC_FOLLOWER 2
#define SYNC_ROLE @ROLE@
const uint8_t SYNC_PIN = 19;

// Speed on the way to rest, in thousandths of full speed; periods between idle moves, 0 for none.
const uint16_t SLOW_PERMILLE = 100;
const uint16_t IDLE_PERIODS = @IDLE_PERIODS@;

// Pulses in tenths of a microsecond; rise, fall and bend (change of speed) per period; how far the
// servo may move to either side between lines.
struct ServoConfig {
  uint8_t pin;      // pin, or channel of the driver
  uint16_t rest, low, high;
  uint16_t rise, fall, bend;
  uint16_t idle;
};

#ifdef WITH_SERVO_TABLE
#include "flash.h"
static const ServoConfig SERVOS[CHANNELS] PROGMEM = {
@TABLE@};
#endif
"#;
