//! The bench link under noise: a host and a simulated controller that both hear the same damaged bytes,
//! and each other.

use lipwright_core::bench::{Decoder, Frame, Heard, Host, MAX_PAYLOAD, SimulatedController, encode};
use lipwright_core::rig::Rig;
use lipwright_core::units::Seconds;
use std::sync::OnceLock;

const STEP: Seconds = Seconds::new(0.02);

/// Both ends, greeted, with a line to play in the controller.
fn ends(rig: &Rig) -> (Host, SimulatedController) {
    let host = Host::new(rig, "main").expect("the preset has this board");
    let neutral: Vec<u16> = host.config().channels.iter().map(|c| c.neutral).collect();
    let board = SimulatedController::new(host.config().clone()).with_lines(vec![vec![neutral; 20]; 2]);
    (host, board)
}

/// Everything that both say in one session: greeting, poses, a higher ceiling, hold-to-move, a line, stop.
pub(super) fn talk(rig: Rig) -> Vec<u8> {
    let (mut host, mut board) = ends(&rig);
    let mut said = Vec::new();
    host.connect(Seconds::ZERO);
    for step in 1..60 {
        let now = STEP * f64::from(step);
        match step {
            10 => host.pose(host.mover().angles()).expect("connected"),
            20 => drop(host.set_ceiling(200, now).expect("connected")),
            25 => host.hold(0, true).expect("connected"),
            35 => host.play(1, now).expect("connected"),
            45 => host.stop(now),
            _ => {}
        }
        host.tick(now);
        let there = host.take_output();
        board.receive(&there);
        board.advance(STEP);
        let back = board.take_output();
        host.receive(&back, now);
        said.extend(there);
        said.extend(back);
    }
    said
}

/// The frames in these bytes as plain records: kind, sequence, length, payload. Damage to these changes
/// what is said, where damage to the bytes on the wire only breaks check sums.
pub(super) fn records(bytes: &[u8]) -> Vec<u8> {
    let mut ear = Decoder::default();
    let mut out = Vec::new();
    for heard in bytes.iter().filter_map(|b| ear.push(*b)) {
        if let Heard::Frame(frame) = heard {
            out.extend([frame.kind, frame.sequence, frame.payload.len() as u8]);
            out.extend(frame.payload);
        }
    }
    out
}

/// Records as frames; a length beyond what a frame holds is taken as far as it goes.
pub(super) fn framed(mut records: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    while let [kind, sequence, length, rest @ ..] = records {
        let (payload, after) = rest.split_at(usize::from(*length).min(MAX_PAYLOAD).min(rest.len()));
        out.extend(encode(&Frame { kind: *kind, sequence: *sequence, payload: payload.to_vec() }));
        records = after;
    }
    out
}

/// Lets both ends hear the bytes, a few at a time, while each also hears the other; true if a frame was
/// among them. Whatever is said, no pulse leaves the servo's range or moves faster than the servo can.
pub(super) fn listen(bytes: &[u8]) -> bool {
    static ENDS: OnceLock<(Host, SimulatedController)> = OnceLock::new();
    let (mut host, mut board) = ENDS.get_or_init(|| ends(&Rig::harbourmaster())).clone();
    let channels = host.config().channels.clone();
    let (mut ear, mut frames) = (Decoder::default(), 0);
    host.connect(Seconds::ZERO);
    // As fast as a serial line of 115 200 baud, but for few bytes at least a second.
    let piece = (bytes.len() / 50).clamp(1, 230);
    for (step, noise) in bytes.chunks(piece).enumerate() {
        let now = STEP * step as f64;
        host.tick(now);
        board.receive(&host.take_output());
        board.receive(noise);
        let before = board.positions().to_vec();
        board.advance(STEP);
        for ((was, is), channel) in before.iter().zip(board.positions()).zip(&channels) {
            assert!((channel.low..=channel.high).contains(is), "{}: {is}", channel.name);
            assert!(was.abs_diff(*is) <= channel.full_step, "{} by {}", channel.name, was.abs_diff(*is));
        }
        host.receive(&board.take_output(), now);
        host.receive(noise, now);
        assert!(host.mover().angles().iter().all(|a| a.is_finite()), "the host's pose is a number");
        // What a bench does when somebody moves a slider; refused where nothing is connected.
        let _ = host.pose(host.mover().angles());
        frames += noise.iter().filter_map(|b| ear.push(*b)).filter(|h| matches!(h, Heard::Frame(_))).count();
    }
    frames > 0
}
