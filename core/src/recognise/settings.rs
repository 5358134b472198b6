//! How to listen: every weight of decoding in one place.

use super::HearingError;
use crate::phonetics::Language;
use crate::units::Seconds;

/// How to listen. The defaults were chosen on tuning speech, never on test speech.
#[derive(Clone, Debug, PartialEq)]
pub struct ListenSettings {
    /// The language of the script, where its margin names none. Listening alone knows no language.
    pub language: Language,
    /// How much the sound counts beside phone statistics when there is no script, 0.05..=5.
    /// Neighbouring frames say nearly the same, so that counting each in full would overrate them.
    pub sound_weight: f64,
    /// The same along a script that is known to belong, beside what left-out words and pauses cost, 0.05..=5.
    pub script_sound_weight: f64,
    /// How much it counts which phone usually follows which, 0..=10.
    pub phone_weight: f64,
    /// Cost of beginning a phone, in nats, −20..=20: larger gives fewer, longer segments.
    pub phone_cost: f64,
    /// Shortest phone, as a share of the published minimum length, 0..=2. Running speech goes
    /// well below that minimum.
    pub shortest_phone: f64,
    /// A silence shorter than this is no pause: the mouth keeps moving to the next sound.
    pub shortest_pause: Seconds,
    /// The same before a stop or affricate, whose closure is itself silent.
    pub shortest_pause_before_stop: Seconds,
    /// An AH whose stress is not known counts as stressed from this length on.
    pub stressed_ah: Seconds,
    /// Cost of saying a word less carefully than the dictionary does (flaps, swallowed vowels), in nats, 0..=100.
    pub reduced_cost: f64,
    /// Cost of leaving out a word of the script, in nats, 0..=100.
    pub word_skip_cost: f64,
    /// Cost of leaving out each further word right after one that was left out, in nats, 0..=100.
    pub next_skip_cost: f64,
    /// Cost of beginning a stretch that the script does not have, in nats, 0..=100.
    pub extra_start_cost: f64,
    /// Cost of each frame of such a stretch, in nats below the likeliest phone, 0..=20.
    pub extra_frame_cost: f64,
    /// Hypotheses this far below the best are given up while aligning, in nats, 20..=10000.
    pub beam: f64,
    /// A word whose fit is below this is reported, 0..=1.
    pub poor_fit: f64,
}

impl Default for ListenSettings {
    fn default() -> Self {
        Self {
            language: Language::English,
            sound_weight: 2.0,
            script_sound_weight: 0.8,
            phone_weight: 1.0,
            phone_cost: -1.0,
            shortest_phone: 0.5,
            shortest_pause: Seconds::new(0.06),
            shortest_pause_before_stop: Seconds::new(0.12),
            stressed_ah: Seconds::new(0.08),
            reduced_cost: 4.0,
            word_skip_cost: 20.0,
            next_skip_cost: 3.0,
            extra_start_cost: 12.0,
            extra_frame_cost: 2.2,
            beam: 250.0,
            poor_fit: 0.2,
        }
    }
}

impl ListenSettings {
    /// Checks every field against its range.
    ///
    /// # Errors
    /// [`HearingError::Setting`] for the first field outside its range.
    pub fn validate(&self) -> Result<(), HearingError> {
        let check = |name, value: f64, low: f64, high: f64, allowed| {
            if value >= low && value <= high {
                Ok(())
            } else {
                Err(HearingError::Setting { name, value, allowed })
            }
        };
        check("sound_weight", self.sound_weight, 0.05, 5.0, "0.05 to 5")?;
        check("script_sound_weight", self.script_sound_weight, 0.05, 5.0, "0.05 to 5")?;
        check("phone_weight", self.phone_weight, 0.0, 10.0, "0 to 10")?;
        check("phone_cost", self.phone_cost, -20.0, 20.0, "-20 to 20")?;
        check("shortest_phone", self.shortest_phone, 0.0, 2.0, "0 to 2")?;
        check("shortest_pause", self.shortest_pause.value(), 0.0, 1.0, "0 to 1 s")?;
        check("shortest_pause_before_stop", self.shortest_pause_before_stop.value(), 0.0, 1.0, "0 to 1 s")?;
        check("stressed_ah", self.stressed_ah.value(), 0.0, 10.0, "0 to 10 s")?;
        check("reduced_cost", self.reduced_cost, 0.0, 100.0, "0 to 100")?;
        check("word_skip_cost", self.word_skip_cost, 0.0, 100.0, "0 to 100")?;
        check("next_skip_cost", self.next_skip_cost, 0.0, 100.0, "0 to 100")?;
        check("extra_start_cost", self.extra_start_cost, 0.0, 100.0, "0 to 100")?;
        check("extra_frame_cost", self.extra_frame_cost, 0.0, 20.0, "0 to 20")?;
        check("beam", self.beam, 20.0, 10_000.0, "20 to 10000")?;
        check("poor_fit", self.poor_fit, 0.0, 1.0, "0 to 1")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_are_valid_and_nonsense_is_not() {
        let good = ListenSettings::default();
        assert_eq!(good.validate(), Ok(()));
        let bad = ListenSettings { beam: f64::NAN, ..good.clone() };
        assert!(matches!(bad.validate(), Err(HearingError::Setting { name: "beam", .. })));
        let bad = ListenSettings { poor_fit: 1.5, ..good };
        assert!(bad.validate().is_err());
    }
}
