//! What the lines of the demonstration do beside speaking: a blink where a phrase ends, a glance at whom
//! he speaks to. Our choice, on the sample lines' exact times; a person's own line begins without.

use super::Origin;
use lipwright_core::line::{Document, Event, Line, LineError, Turn};
use lipwright_core::units::{Degrees, Seconds};

const S: fn(f64) -> Seconds = Seconds::new;

fn events(file: &str) -> Vec<Event> {
    match file {
        "welcome.wav" => vec![Event::blink(S(1.58)), Event::blink(S(5.7))],
        "storm-bell.wav" => {
            let to_martha = Turn { to: Degrees::new(14.0), over: S(0.5), hold: S(0.6) };
            vec![Event::blink(S(1.88)), Event::turn(S(4.7), to_martha)]
        }
        _ => Vec::new(),
    }
}

/// A line of the demonstration as it begins; any other as it is.
///
/// # Errors
/// Where the line is shorter than the recording of that name.
pub fn staged(origin: &Origin, line: Line) -> Result<Line, LineError> {
    let Origin::Beside(path) = origin else { return Ok(line) };
    let file = path.rsplit('/').next().unwrap_or_default();
    let mut document = Document::new(line);
    for event in events(file) {
        document.add_event(event)?;
    }
    Ok(document.line().clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::Shared;

    #[test]
    fn the_demonstration_blinks_and_a_persons_line_does_not() {
        let line = || Line::silent(S(7.0)).expect("valid");
        let beside = |name: &str| Origin::Beside(format!("sample-audio/{name}"));
        let count = |origin: &Origin| staged(origin, line()).expect("long enough").events().len();
        assert_eq!(count(&beside("welcome.wav")), 2);
        assert_eq!(count(&beside("storm-bell.wav")), 2);
        assert_eq!(count(&beside("toy-boat.wav")), 0);
        assert_eq!(count(&Origin::Bytes(Shared::new(Vec::new()))), 0);
        assert!(staged(&beside("welcome.wav"), Line::silent(S(2.0)).expect("valid")).is_err());
    }
}
