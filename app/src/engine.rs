//! The ear the page listens with.

use lipwright_core::audio::Recording;
use lipwright_core::features::Features;
use lipwright_core::phonetics::{Lexicon, Phone};
use lipwright_core::progress::Progress;
use lipwright_core::recognise::{Hearing, HearingError, ListenSettings, Posteriors, Recogniser, listen};

/// TEMPORARY, to be replaced by the trained model: tells silence, hiss and vowels apart by rule.
struct StandIn;

impl Recogniser for StandIn {
    fn name(&self) -> &str {
        "stand-in rules"
    }

    fn posteriors(&self, features: &Features, _: &mut dyn Progress) -> Result<Posteriors, HearingError> {
        let loudest = features.energy_db().iter().copied().fold(-120.0f32, f32::max);
        let rows = (0..features.frames())
            .map(|i| {
                let mut row = [0.1 / Phone::COUNT as f32; Phone::COUNT];
                let below = loudest - features.energy_db()[i];
                let centroid = features.centroid_hz()[i];
                let f1 = features.formants_hz()[i][0];
                let f2 = features.formants_hz()[i][1];
                let pick = if below > 38.0 {
                    Phone::Sil
                } else if centroid > 3200.0 {
                    Phone::S
                } else if centroid > 2300.0 {
                    Phone::Sh
                } else if features.voicing()[i] < 0.4 {
                    Phone::T
                } else if below > 22.0 {
                    Phone::M
                } else if f1 > 600.0 {
                    Phone::Aa
                } else if f2 > 1800.0 {
                    Phone::Iy
                } else if f2 < 1000.0 {
                    Phone::Uw
                } else if f1 < 400.0 {
                    Phone::N
                } else {
                    Phone::Eh
                };
                row[pick.index()] += 0.9;
                row
            })
            .collect();
        Posteriors::new(rows)
    }
}

/// Listens to a recording.
///
/// # Errors
/// What went wrong, as core says it.
pub fn hear(
    recording: &Recording,
    script: &str,
    lexicon: Option<&Lexicon>,
    progress: &mut dyn Progress,
) -> Result<Hearing, String> {
    let script = Some(script.trim()).filter(|s| !s.is_empty());
    listen(recording, script, lexicon, &StandIn, &ListenSettings::default(), progress).map_err(|e| e.to_string())
}
