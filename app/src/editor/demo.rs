//! What the lines of the demonstration do beside speaking: a blink where a phrase ends, a glance at whom
//! he speaks to. Our choice, on the sample lines' exact times; a person's own line begins without.

use lipwright_core::line::{Document, Event, Line, LineError, Turn};
use lipwright_core::units::{Degrees, Seconds};

const S: fn(f64) -> Seconds = Seconds::new;

/// What happens in a line of the demonstration, by where its recording lies beside the page.
#[must_use]
pub fn events(path: &str) -> Vec<Event> {
    match path {
        "sample-audio/welcome.wav" => vec![Event::blink(S(1.58)), Event::blink(S(5.7))],
        "sample-audio/storm-bell.wav" => {
            let to_martha = Turn { to: Degrees::new(14.0), over: S(0.5), hold: S(0.6) };
            vec![Event::blink(S(1.88)), Event::turn(S(4.7), to_martha)]
        }
        _ => Vec::new(),
    }
}

/// A line as it begins, with these events.
///
/// # Errors
/// Where one of them lies outside the line.
pub fn staged(line: Line, events: &[Event]) -> Result<Line, LineError> {
    let mut document = Document::new(line);
    for event in events {
        document.add_event(*event)?;
    }
    Ok(document.line().clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::{Origin, Shared, Take};

    #[test]
    fn the_demonstration_blinks_and_the_line_begins_with_it() {
        let line = || Line::silent(S(7.0)).expect("valid");
        let beside = |file: &str| {
            Take::new("Line", file, Origin::Beside(format!("sample-audio/{file}")), "").begins_with
        };
        for file in ["welcome.wav", "storm-bell.wav"] {
            let events = beside(file);
            assert_eq!(events.len(), 2);
            assert_eq!(staged(line(), &events).expect("long enough").events(), events);
        }
        assert_eq!(staged(line(), &beside("toy-boat.wav")).expect("valid"), line());
        assert!(staged(Line::silent(S(2.0)).expect("valid"), &beside("welcome.wav")).is_err());
        let own = Take::new("Own", "welcome.wav", Origin::Bytes(Shared::new(Vec::new())), "");
        assert!(own.begins_with.is_empty(), "a person's own line begins without");
    }
}
