//! The cue sheet: one printable page for whoever wires the triggers and runs the show.

use crate::rig::Rig;
use crate::units::Seconds;
use std::fmt::Write;

/// One line of the show.
#[derive(Clone, Debug, PartialEq)]
pub struct Cue {
    /// Number by which the controller is told to play it, from 1.
    pub trigger: usize,
    /// Name of the line.
    pub name: String,
    /// What is said; empty where there is no script.
    pub script: String,
    /// Length of the recording.
    pub sound: Seconds,
    /// Length of the motion.
    pub motion: Seconds,
    /// How long after the trigger the sound starts.
    pub sound_after: Seconds,
}

/// The page as HTML that stands alone: no script, nothing fetched, laid out for paper.
///
/// Names and scripts are escaped, whatever they hold.
///
/// ```
/// use lipwright_core::export::{Cue, cue_sheet};
/// use lipwright_core::rig::Rig;
/// use lipwright_core::units::Seconds;
///
/// let cue = Cue {
///     trigger: 1,
///     name: "Welcome <aboard>".into(),
///     script: String::new(),
///     sound: Seconds::new(6.2),
///     motion: Seconds::new(6.6),
///     sound_after: Seconds::new(0.2),
/// };
/// let page = cue_sheet("Harbour museum", &Rig::harbourmaster(), &[cue]);
/// assert!(page.contains("Welcome &lt;aboard&gt;"));
/// ```
#[must_use]
pub fn cue_sheet(show: &str, rig: &Rig, cues: &[Cue]) -> String {
    let mut page = HEAD.replace("{show}", &escape(show));
    let total: f64 = cues.iter().map(|c| c.motion.value()).sum();
    let plural = if cues.len() == 1 { "" } else { "s" };
    let servos = rig.servos().len();
    // Writing to a String cannot fail.
    let _ = writeln!(
        page,
        "<h1>{}</h1>\n<p class=\"sum\">{} line{plural}, {} in all. Head: {}, {servos} servos, \
         settings <code>{}</code>.</p>",
        escape(show),
        cues.len(),
        clock(Seconds::new(total)),
        escape(rig.name()),
        &super::rig_fingerprint(rig)[..12],
    );
    page.push_str(TABLE_HEAD);
    for cue in cues {
        let _ = writeln!(
            page,
            "<tr><th scope=\"row\">{}</th><td><b>{}</b><br>{}</td><td>{}</td><td>{}</td><td>{:.0} ms</td>\
             <td class=\"box\"></td><td class=\"box\"></td></tr>",
            cue.trigger,
            escape(&cue.name),
            if cue.script.trim().is_empty() { "<i>no script</i>".into() } else { escape(cue.script.trim()) },
            clock(cue.sound),
            clock(cue.motion),
            cue.sound_after.value() * 1000.0,
        );
    }
    page.push_str(TAIL);
    page
}

/// `0:06.2`, `12:00.0`.
fn clock(time: Seconds) -> String {
    let tenths = (time.value().max(0.0) * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\0' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

const HEAD: &str = r#"<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>Cue sheet – {show}</title>
<style>
body { font: 11pt/1.4 system-ui, sans-serif; color: #111; background: #fff; max-width: 60rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 18pt; margin: 0; }
.sum { margin: .3rem 0 1rem; }
table { border-collapse: collapse; width: 100%; }
thead { display: table-header-group; }
th, td { border: 1px solid #777; padding: .3rem .5rem; text-align: left; vertical-align: top; }
tbody th { font-size: 15pt; text-align: center; }
td:nth-child(n+3) { font-variant-numeric: tabular-nums; white-space: nowrap; text-align: right; }
.box { min-width: 3.5rem; }
tr { break-inside: avoid; }
aside { border: 2px solid #111; padding: .5rem .8rem; margin-top: 1rem; break-inside: avoid; }
aside p { margin: .2rem 0; }
@page { margin: 14mm; }
@media print { body { margin: 0; max-width: none; padding: 0; } }
</style>
</head>
<body>
"#;

const TABLE_HEAD: &str = "<table>\n<thead><tr><th scope=\"col\">Trigger</th><th scope=\"col\">Line</th>\
<th scope=\"col\">Sound</th><th scope=\"col\">Motion</th><th scope=\"col\">Sound starts after</th>\
<th scope=\"col\">Tried slowly</th><th scope=\"col\">Tried at speed</th></tr></thead>\n<tbody>\n";

const TAIL: &str = "</tbody>\n</table>\n<aside>\n\
<p><b>Before the first cue.</b> Moving jaws and linkages pinch: keep fingers and hair clear, and cut servo power before \
reaching in. Set end stops before running at speed; a stalled servo overheats.</p>\n\
<p>Size supply, wiring and fuses for the stall current; follow local electrical codes and have public installations \
checked by a licensed person. Nothing here is a safety controller: an emergency stop must cut servo power in \
hardware.</p>\n</aside>\n</body>\n</html>\n";

#[cfg(test)]
mod tests {
    use super::*;

    fn cue(trigger: usize, name: &str, script: &str, motion: f64) -> Cue {
        let s = Seconds::new;
        Cue {
            trigger,
            name: name.into(),
            script: script.into(),
            sound: s(motion - 0.4),
            motion: s(motion),
            sound_after: s(0.2),
        }
    }

    #[test]
    fn every_line_stands_there_with_trigger_and_lengths() {
        let cues = [cue(1, "welcome", "Mind the step.", 6.6), cue(2, "bell", "", 719.94)];
        let page = cue_sheet("Port Wimbry", &Rig::harbourmaster(), &cues);
        assert!(page.contains("2 lines, 12:06.5 in all"), "{page}");
        assert!(page.contains("<td>0:06.2</td><td>0:06.6</td><td>200 ms</td>"), "{page}");
        assert!(page.contains("<td>11:59.5</td><td>11:59.9</td>"), "{page}");
        assert_eq!(page.matches("<tr>").count(), 1 + 2);
        assert!(page.contains("emergency stop must cut servo power"));
    }

    #[test]
    fn nothing_a_person_types_becomes_markup() {
        let nasty = "<script>alert(1)</script>\"'&\0";
        let page = cue_sheet(nasty, &Rig::jaw_only(), &[cue(1, nasty, nasty, 1.0)]);
        assert!(!page.contains("<script") && !page.contains('\0'));
        assert_eq!(page.matches("&lt;script&gt;").count(), 4, "title, heading, name, script");
    }
}
