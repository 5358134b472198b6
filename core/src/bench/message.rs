//! What the two sides say to each other.

use super::frame::{Frame, MAX_PAYLOAD};

/// Most channels that a pose or a status can carry.
pub(super) const MAX_CHANNELS: usize = (MAX_PAYLOAD - STATUS_HEAD) / 2;

const HELLO: u8 = 0x01;
const BEAT: u8 = 0x02;
const POSE: u8 = 0x03;
const PLAY: u8 = 0x04;
const STOP: u8 = 0x05;
const CEILING: u8 = 0x06;
const HOLD: u8 = 0x07;
const WELCOME: u8 = 0x81;
const STATUS: u8 = 0x82;
const ACK: u8 = 0x83;
const REFUSED: u8 = 0x84;

/// State, faults, accepted, missed, dropped, ceiling; two bytes a position follow.
const STATUS_HEAD: usize = 10;

/// From the host to the controller. Pulses are in timer ticks of 0.5 µs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Order {
    /// The greeting: which version the host speaks.
    Hello {
        /// [`PROTOCOL_VERSION`](super::PROTOCOL_VERSION) of the host.
        version: u8,
    },
    /// "I am here": asks for the status.
    Beat,
    /// Where every channel is to go, at the ceiling's speed at most.
    Pose {
        /// One a channel.
        targets: Vec<u16>,
    },
    /// Play a line that the controller holds, counted from 1.
    Play {
        /// Its trigger number.
        line: u16,
    },
    /// Stop whatever moves, and go to neutral slowly.
    Stop,
    /// The speed ceiling.
    Ceiling {
        /// Thousandths of each servo's own speed.
        permille: u16,
    },
    /// Hold-to-move: one channel goes on towards a pulse for as long as these orders come.
    Hold {
        /// Channel, from 0.
        channel: u8,
        /// Where to.
        target: u16,
    },
}

/// From the controller to the host.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Report {
    /// Answer to `Hello`.
    Welcome {
        /// [`PROTOCOL_VERSION`](super::PROTOCOL_VERSION) of the controller.
        version: u8,
        /// Its channels.
        channels: u8,
        /// Of the settings it was made with.
        fingerprint: u32,
    },
    /// Answer to `Beat`.
    Status(Status),
    /// The order was taken.
    Ack,
    /// The order was not taken.
    Refused(Refusal),
}

/// What the controller knows about itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Status {
    /// What it is doing.
    pub state: ControllerState,
    /// What is wrong.
    pub faults: Faults,
    /// Frames accepted since the greeting, modulo 65536.
    pub accepted: u16,
    /// Frames that never came, by the gaps in their numbers.
    pub missed: u16,
    /// Frames dropped because they did not fit.
    pub dropped: u16,
    /// Speed ceiling in force.
    pub ceiling: u16,
    /// Pulses being sent, in ticks.
    pub positions: Vec<u16>,
}

/// What the controller is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum ControllerState {
    /// Standing.
    Idle = 0,
    /// Following poses of the host.
    Following = 1,
    /// Moving one channel while it is told to.
    Holding = 2,
    /// Playing a line of its own.
    Playing = 3,
    /// On the slow way to neutral.
    Returning = 4,
    /// Stopped by the stop input; moves nothing.
    Stopped = 5,
    /// A fault was found; moves nothing until reset.
    Faulty = 6,
    /// After a reset: coming to rest slowly from an unknown pose.
    Approaching = 7,
}

impl ControllerState {
    const ALL: [Self; 8] = [
        Self::Idle,
        Self::Following,
        Self::Holding,
        Self::Playing,
        Self::Returning,
        Self::Stopped,
        Self::Faulty,
        Self::Approaching,
    ];

    /// Name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Idle => "standing",
            Self::Following => "following",
            Self::Holding => "moving while held",
            Self::Playing => "playing",
            Self::Returning => "returning to neutral",
            Self::Stopped => "stopped by its stop input",
            Self::Faulty => "stopped by a fault",
            Self::Approaching => "coming to rest after its start",
        }
    }
}

/// Faults, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Faults(pub u8);

impl Faults {
    /// The stop input is active.
    pub const STOP_INPUT: u8 = 1;
    /// Tracks or settings in memory are damaged or wrong.
    pub const MEMORY: u8 = 2;
    /// The link was lost since the greeting before.
    pub const LINK_LOST: u8 = 4;

    /// Each fault as a sentence that says what to do.
    #[must_use]
    pub fn sentences(self) -> Vec<&'static str> {
        const ALL: [(u8, &str); 3] = [
            (Faults::STOP_INPUT, "The stop input is active: release it to move again."),
            (Faults::MEMORY, "Tracks or settings in the controller are damaged: load the sketch again."),
            (Faults::LINK_LOST, "The link was lost, and the head went to neutral: check the cable."),
        ];
        ALL.iter().filter(|f| self.0 & f.0 != 0).map(|f| f.1).collect()
    }
}

/// Why an order was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Refusal {
    /// No greeting came before it.
    NotGreeted = 1,
    /// The order's content makes no sense.
    Malformed = 2,
    /// Another number of channels, or no such channel.
    Channels = 3,
    /// The ceiling was raised too far at once.
    Ceiling = 4,
    /// No such line.
    Line = 5,
    /// Nothing may move: stopped, at fault, or still coming to rest after a start.
    Halted = 6,
}

impl Refusal {
    const ALL: [Self; 6] =
        [Self::NotGreeted, Self::Malformed, Self::Channels, Self::Ceiling, Self::Line, Self::Halted];

    /// A sentence for people.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NotGreeted => "The controller was restarted or lost the link: connect again.",
            Self::Malformed => "The controller did not understand an order: load the sketch again.",
            Self::Channels => "The controller has other channels than this rig: load the sketch again.",
            Self::Ceiling => "The speed ceiling is raised in steps of at most 10 points.",
            Self::Line => "The controller holds no such line: load the sketch again.",
            Self::Halted => "The controller moves nothing now: it is stopped, at fault, or has just started.",
        }
    }
}

impl Order {
    /// The frame that carries it.
    #[must_use]
    pub fn to_frame(&self, sequence: u8) -> Frame {
        let (kind, payload) = match self {
            Self::Hello { version } => (HELLO, vec![*version]),
            Self::Beat => (BEAT, vec![]),
            Self::Pose { targets } => (POSE, words(targets)),
            Self::Play { line } => (PLAY, line.to_be_bytes().to_vec()),
            Self::Stop => (STOP, vec![]),
            Self::Ceiling { permille } => (CEILING, permille.to_be_bytes().to_vec()),
            Self::Hold { channel, target } => (HOLD, [&[*channel][..], &target.to_be_bytes()].concat()),
        };
        Frame { kind, sequence, payload }
    }

    /// Reads a frame; none where it is no order, or its payload does not fit.
    #[must_use]
    pub fn from_frame(frame: &Frame) -> Option<Self> {
        Some(match (frame.kind, frame.payload.as_slice()) {
            (HELLO, [version]) => Self::Hello { version: *version },
            (BEAT, []) => Self::Beat,
            (POSE, bytes) => Self::Pose { targets: read_words(bytes)? },
            (PLAY, [a, b]) => Self::Play { line: u16::from_be_bytes([*a, *b]) },
            (STOP, []) => Self::Stop,
            (CEILING, [a, b]) => Self::Ceiling { permille: u16::from_be_bytes([*a, *b]) },
            (HOLD, [channel, a, b]) => Self::Hold { channel: *channel, target: u16::from_be_bytes([*a, *b]) },
            _ => return None,
        })
    }
}

impl Report {
    /// The frame that carries it, under the number of the order it answers.
    #[must_use]
    pub fn to_frame(&self, sequence: u8) -> Frame {
        let (kind, payload) = match self {
            Self::Welcome { version, channels, fingerprint } => {
                (WELCOME, [&[*version, *channels][..], &fingerprint.to_be_bytes()].concat())
            }
            Self::Status(s) => {
                let head = words(&[s.accepted, s.missed, s.dropped, s.ceiling]);
                (STATUS, [&[s.state as u8, s.faults.0][..], &head, &words(&s.positions)].concat())
            }
            Self::Ack => (ACK, vec![]),
            Self::Refused(reason) => (REFUSED, vec![*reason as u8]),
        };
        Frame { kind, sequence, payload }
    }

    /// Reads a frame; none where it is no report, or its payload does not fit.
    #[must_use]
    pub fn from_frame(frame: &Frame) -> Option<Self> {
        Some(match (frame.kind, frame.payload.as_slice()) {
            (WELCOME, [version, channels, a, b, c, d]) => Self::Welcome {
                version: *version,
                channels: *channels,
                fingerprint: u32::from_be_bytes([*a, *b, *c, *d]),
            },
            (STATUS, [state, faults, rest @ ..]) if rest.len() >= STATUS_HEAD - 2 => {
                let numbers = read_words(rest)?;
                Self::Status(Status {
                    state: *ControllerState::ALL.get(usize::from(*state))?,
                    faults: Faults(*faults),
                    accepted: numbers[0],
                    missed: numbers[1],
                    dropped: numbers[2],
                    ceiling: numbers[3],
                    positions: numbers[4..].to_vec(),
                })
            }
            (ACK, []) => Self::Ack,
            (REFUSED, [reason]) => Self::Refused(*Refusal::ALL.get(usize::from(reason.checked_sub(1)?))?),
            _ => return None,
        })
    }
}

fn words(numbers: &[u16]) -> Vec<u8> {
    numbers.iter().flat_map(|n| n.to_be_bytes()).collect()
}

fn read_words(bytes: &[u8]) -> Option<Vec<u16>> {
    bytes
        .len()
        .is_multiple_of(2)
        .then(|| bytes.chunks_exact(2).map(|b| u16::from_be_bytes([b[0], b[1]])).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_message_comes_back() {
        let many: Vec<u16> = (0..MAX_CHANNELS as u16).map(|i| 1000 + 300 * i).collect();
        let orders = [
            Order::Hello { version: 1 },
            Order::Beat,
            Order::Pose { targets: many.clone() },
            Order::Play { line: 259 },
            Order::Stop,
            Order::Ceiling { permille: 1000 },
            Order::Hold { channel: 3, target: 3001 },
        ];
        for order in orders {
            assert_eq!(Order::from_frame(&order.to_frame(9)), Some(order));
        }
        let mut reports =
            vec![Report::Welcome { version: 1, channels: 16, fingerprint: 0x0102_0304 }, Report::Ack];
        reports.extend(Refusal::ALL.map(Report::Refused));
        reports.extend(ControllerState::ALL.map(|state| {
            let faults = Faults(Faults::MEMORY | Faults::LINK_LOST);
            Report::Status(Status {
                state,
                faults,
                accepted: 1,
                missed: 2,
                dropped: 3,
                ceiling: 400,
                positions: many.clone(),
            })
        }));
        for report in reports {
            let frame = report.to_frame(9);
            assert!(frame.payload.len() <= MAX_PAYLOAD);
            assert_eq!(Report::from_frame(&frame), Some(report));
        }
    }

    proptest! {
        #[test]
        fn no_payload_is_misread(kind in any::<u8>(), payload in prop::collection::vec(any::<u8>(), 0..=MAX_PAYLOAD)) {
            let frame = Frame { kind, sequence: 0, payload };
            if let Some(order) = Order::from_frame(&frame) {
                prop_assert_eq!(order.to_frame(0), frame.clone());
            }
            if let Some(report) = Report::from_frame(&frame) {
                prop_assert_eq!(report.to_frame(0), frame);
            }
        }
    }
}
