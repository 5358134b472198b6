//! Listening along a script: which word is said when.
//!
//! Viterbi search over the script's phones in order. Between words there may be a pause, or speech
//! that the script does not have; a word may be left out. Each costs what [`ListenSettings`] says,
//! so that a script which does not match is reported rather than forced onto the sound.
//!
//! Search goes frame by frame and looks only at the words around the best hypotheses (a beam), so
//! that its cost grows with the recording and not with recording times script. What hypotheses
//! went through is kept as a tree of [`Step`]s, from which dead branches are swept now and then.

use super::decode::{DurationLaw, FLOOR};
use super::graph::Graph;
use super::{HearingError, ListenSettings, Posteriors};
use crate::phonetics::Phone;
use crate::progress::Progress;
use std::ops::Range;

/// What a stretch of the recording is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// A unit of the graph.
    Unit(usize),
    /// A pause.
    Pause,
    /// Sound that the script does not have.
    Extra,
}

/// A stretch of the recording and what it is.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stretch {
    pub(super) part: Part,
    pub(super) frames: Range<usize>,
}

/// Frames between two reports of progress.
const REPORT_EVERY: usize = 256;
/// Dead steps are swept when there are this many more than after the last time.
const SWEEP_AFTER: usize = 1 << 20;
const NOWHERE: u32 = u32::MAX;

/// A hypothesis: its score below the best, and the last step it took.
#[derive(Clone, Copy, Debug)]
struct Token {
    score: f32,
    step: u32,
}

impl Token {
    const NONE: Self = Self { score: f32::NEG_INFINITY, step: NOWHERE };

    fn plus(self, gain: f32) -> Self {
        Self { score: self.score + gain, ..self }
    }

    fn or(self, other: Self) -> Self {
        if other.score > self.score { other } else { self }
    }
}

/// Something begun at some time, after another step.
#[derive(Clone, Copy, Debug)]
struct Step {
    before: u32,
    part: Part,
    start: u32,
}

/// What may lie between two words.
struct Gap {
    pause: Vec<Token>,
    extra: Token,
}

struct Search<'a> {
    graph: &'a Graph,
    settings: &'a ListenSettings,
    pause_law: DurationLaw,
    /// For every state of every unit, the best hypothesis in it.
    states: Vec<Token>,
    /// Gap w lies before word w; the last one lies at the end.
    gaps: Vec<Gap>,
    /// Gaps and words outside this range hold no hypothesis.
    live: Range<usize>,
    steps: Vec<Step>,
    sweep_at: usize,
}

/// The likeliest way through the script, covering all frames without gap. `None` if there is no way
/// within the beam, as for a recording without frames.
pub(super) fn align(
    graph: &Graph,
    posteriors: &Posteriors,
    settings: &ListenSettings,
    progress: &mut dyn Progress,
) -> Result<Option<Vec<Stretch>>, HearingError> {
    let frames = posteriors.frames();
    let pause_law = DurationLaw::of(Phone::Sil, settings);
    let gap = || Gap { pause: vec![Token::NONE; pause_law.shortest], extra: Token::NONE };
    let mut search = Search {
        graph,
        settings,
        pause_law,
        states: vec![Token::NONE; graph.states],
        gaps: (0..=graph.words.len()).map(|_| gap()).collect(),
        live: 0..0,
        steps: Vec::new(),
        sweep_at: SWEEP_AFTER,
    };
    for t in 0..frames {
        if t % REPORT_EVERY == 0 && !progress.report("following the script", t as f64 / frames as f64) {
            return Err(HearingError::Cancelled);
        }
        search.advance(t);
        if !search.listen(posteriors.frame(t)) {
            return Ok(None);
        }
        search.sweep();
    }
    Ok(search.finish(frames))
}

impl Search<'_> {
    /// Moves every hypothesis to frame `t`: on within its unit, or into what may follow.
    fn advance(&mut self, t: usize) {
        let words = self.graph.words.len();
        let floor = -self.settings.beam as f32;
        // The best hypothesis that is about to be at the gap before word w, having said all before;
        // and the best that is leaving out words on its way there.
        let mut arrive = if t == 0 { Token { score: 0.0, step: NOWHERE } } else { Token::NONE };
        let mut skipping = Token::NONE;
        let mut w = self.live.start;
        while w <= words && (w < self.live.end || arrive.or(skipping).score > floor) {
            let said = self.said(w);
            let (pause, extra) = self.gap_ends(w);
            let here = arrive.or(skipping);
            let depart = here.or(pause).or(extra);

            let begun = self.begin(here.or(extra), Part::Pause, t, floor);
            shift(&mut self.gaps[w].pause, begun, self.pause_law.stay);
            let fresh = here.or(pause).plus(-self.settings.extra_start_cost as f32);
            if fresh.score > extra.score {
                self.gaps[w].extra = self.begin(fresh, Part::Extra, t, floor);
            }
            if w < words {
                self.advance_word(w, depart, t, floor);
                let (first, further) = self.skip_costs(w);
                skipping = depart.plus(-first).or(skipping.plus(-further));
                arrive = said;
            }
            w += 1;
        }
        self.live.end = w;
    }

    /// Moves the units of word `w`; the first of each pronunciation may begin from `depart`.
    fn advance_word(&mut self, w: usize, depart: Token, t: usize, floor: f32) {
        let graph = self.graph;
        let word = &graph.words[w];
        // Backwards, so that each unit still finds the one before it as it was.
        for u in word.units.clone().rev() {
            let unit = &graph.units[u];
            let into = if word.firsts.contains(&u) {
                depart.plus(-unit.entry)
            } else {
                let before = &graph.units[u - 1];
                self.states[before.state + before.law.shortest - 1].plus(before.law.leave)
            };
            let begun = self.begin(into, Part::Unit(u), t, floor);
            let states = unit.state..unit.state + unit.law.shortest;
            shift(&mut self.states[states], begun, unit.law.stay);
        }
    }

    /// Best hypothesis that has said the whole of word `w`.
    fn said(&self, w: usize) -> Token {
        let Some(word) = self.graph.words.get(w) else { return Token::NONE };
        word.units
            .clone()
            .map(|u| &self.graph.units[u])
            .filter(|u| u.last)
            .fold(Token::NONE, |best, u| best.or(self.states[u.state + u.law.shortest - 1].plus(u.law.leave)))
    }

    /// Best hypotheses that have ended a pause, or extra speech, before word `w`.
    fn gap_ends(&self, w: usize) -> (Token, Token) {
        let gap = &self.gaps[w];
        (gap.pause[self.pause_law.shortest - 1].plus(self.pause_law.leave), gap.extra)
    }

    /// Cost of leaving out word `w` first, and after others. A word that cannot be said, or
    /// need not be, is left out for nothing.
    fn skip_costs(&self, w: usize) -> (f32, f32) {
        let word = &self.graph.words[w];
        if word.firsts.is_empty() || word.optional {
            (0.0, 0.0)
        } else {
            (self.settings.word_skip_cost as f32, self.settings.next_skip_cost as f32)
        }
    }

    fn begin(&mut self, token: Token, part: Part, t: usize, floor: f32) -> Token {
        if !(token.score > floor) {
            return Token::NONE;
        }
        self.steps.push(Step { before: token.step, part, start: t as u32 });
        Token { step: (self.steps.len() - 1) as u32, ..token }
    }

    /// Adds what frame says, makes scores relative to the best, gives up what lies outside the
    /// beam. False if nothing is left.
    fn listen(&mut self, row: &[f32; Phone::COUNT]) -> bool {
        let weight = self.settings.script_sound_weight as f32;
        let sound = row.map(|p| weight * p.max(FLOOR).ln());
        let likeliest = sound.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        let extra = likeliest - self.settings.extra_frame_cost as f32;
        let pause = sound[Phone::Sil.index()];
        let graph = self.graph;
        let mut best = f32::NEG_INFINITY;
        for w in self.live.clone() {
            let gap = &mut self.gaps[w];
            gap.extra.score += extra;
            best = best.max(gap.extra.score);
            for s in &mut gap.pause {
                s.score += pause;
                best = best.max(s.score);
            }
            for u in graph.words.get(w).map_or(0..0, |word| word.units.clone()) {
                let unit = &graph.units[u];
                let gain = sound[unit.phone.index()];
                for s in &mut self.states[unit.state..unit.state + unit.law.shortest] {
                    s.score += gain;
                    best = best.max(s.score);
                }
            }
        }
        if best == f32::NEG_INFINITY {
            return false;
        }
        let floor = -self.settings.beam as f32;
        let keep = |s: &mut Token| {
            s.score -= best;
            if !(s.score > floor) {
                *s = Token::NONE;
            }
            s.score > floor
        };
        let (mut first, mut end) = (self.live.end, self.live.start);
        for w in self.live.clone() {
            let gap = &mut self.gaps[w];
            let mut alive = keep(&mut gap.extra);
            for s in &mut gap.pause {
                alive |= keep(s);
            }
            if let Some(word) = graph.words.get(w).filter(|word| !word.units.is_empty()) {
                let from = graph.units[word.units.start].state;
                let last = &graph.units[word.units.end - 1];
                for s in &mut self.states[from..last.state + last.law.shortest] {
                    alive |= keep(s);
                }
            }
            if alive {
                first = first.min(w);
                end = w + 1;
            }
        }
        self.live = first..end;
        true
    }

    /// All live hypotheses.
    fn tokens(&mut self) -> impl Iterator<Item = &mut Token> {
        let words = self.live.start.min(self.graph.words.len())..self.live.end.min(self.graph.words.len());
        let units = match (self.graph.words.get(words.start), words.end.checked_sub(1)) {
            (Some(first), Some(last)) if !words.is_empty() => {
                first.units.start..self.graph.words[last].units.end
            }
            _ => 0..0,
        };
        let states = if units.is_empty() {
            0..0
        } else {
            let last = &self.graph.units[units.end - 1];
            self.graph.units[units.start].state..last.state + last.law.shortest
        };
        self.states[states].iter_mut().chain(
            self.gaps[self.live.clone()].iter_mut().flat_map(|g| g.pause.iter_mut().chain([&mut g.extra])),
        )
    }

    /// Forgets steps that no live hypothesis went through, once there are many.
    fn sweep(&mut self) {
        if self.steps.len() < self.sweep_at {
            return;
        }
        let mut used = vec![false; self.steps.len()];
        for token in self.tokens() {
            if let Some(u) = used.get_mut(token.step as usize) {
                *u = true;
            }
        }
        // A step always comes after the one before it.
        for i in (0..used.len()).rev() {
            if used[i] && self.steps[i].before != NOWHERE {
                used[self.steps[i].before as usize] = true;
            }
        }
        let mut moved = vec![NOWHERE; used.len()];
        let mut kept = 0;
        for i in 0..used.len() {
            if used[i] {
                let mut step = self.steps[i];
                if step.before != NOWHERE {
                    step.before = moved[step.before as usize];
                }
                self.steps[kept] = step;
                moved[i] = kept as u32;
                kept += 1;
            }
        }
        self.steps.truncate(kept);
        for token in self.tokens() {
            if let Some(m) = moved.get(token.step as usize) {
                token.step = *m;
            }
        }
        self.sweep_at = kept + SWEEP_AFTER;
    }

    /// The best hypothesis that is through with the script, written out.
    fn finish(&self, frames: usize) -> Option<Vec<Stretch>> {
        let words = self.graph.words.len();
        let (mut arrive, mut skipping, mut depart) = (Token::NONE, Token::NONE, Token::NONE);
        for w in self.live.start..=words {
            let (pause, extra) = self.gap_ends(w);
            depart = arrive.or(skipping).or(pause).or(extra);
            if w < words {
                let (first, further) = self.skip_costs(w);
                skipping = depart.plus(-first).or(skipping.plus(-further));
                arrive = self.said(w);
            }
        }
        let mut out = Vec::new();
        let mut end = frames;
        let mut at = depart.step;
        while let Some(step) = self.steps.get(at as usize) {
            out.push(Stretch { part: step.part, frames: step.start as usize..end });
            end = step.start as usize;
            at = step.before;
        }
        out.reverse();
        (!out.is_empty()).then_some(out)
    }
}

/// Moves hypotheses one state on; the last state also keeps its own.
fn shift(states: &mut [Token], into: Token, stay: f32) {
    let last = states.len() - 1;
    let stayed = states[last].plus(stay);
    states.copy_within(..last, 1);
    states[0] = into;
    states[last] = states[last].or(stayed);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phonetics::{Lexicon, script_words};
    use crate::progress::Quiet;
    use crate::recognise::testing::{posteriors_of, random_posteriors};
    use proptest::prelude::*;

    fn lexicon() -> Lexicon {
        Lexicon::from_bytes(include_bytes!("../../models/lexicon.bin")).expect("intact")
    }

    fn graph(script: &str, settings: &ListenSettings) -> Graph {
        Graph::running(&script_words(script), &lexicon(), settings)
    }

    /// Best sum over all ways, by trying them: judge for the search on tiny cases.
    fn slow(graph: &Graph, p: &Posteriors, s: &ListenSettings) -> f64 {
        #[derive(Clone, Copy, PartialEq)]
        enum At {
            Gap(usize),
            Unit(usize, usize),
        }
        #[allow(clippy::too_many_arguments)] // One recursive step of a judge; a struct would hide it.
        // (place, frame, may begin a pause, may begin extra speech, left out the last word)
        fn go(
            g: &Graph,
            p: &Posteriors,
            s: &ListenSettings,
            law: DurationLaw,
            at: At,
            t: usize,
            mask: u8,
            skipped: bool,
        ) -> f64 {
            let n = p.frames();
            let ln = |f: usize, ph: Phone| heard(p.frame(f)[ph.index()], s);
            let span = |from: usize, to: usize, law: DurationLaw, ph: Phone| -> f64 {
                (from..to).map(|f| ln(f, ph)).sum::<f64>()
                    + (to - from - law.shortest) as f64 * f64::from(law.stay)
                    + f64::from(law.leave)
            };
            let mut best = f64::NEG_INFINITY;
            match at {
                At::Gap(w) => {
                    if w == g.words.len() && t == n {
                        best = 0.0;
                    }
                    if mask & 1 == 0 {
                        for to in t + law.shortest..=n {
                            best = best.max(
                                span(t, to, law, Phone::Sil) + go(g, p, s, law, At::Gap(w), to, 1, false),
                            );
                        }
                    }
                    if mask & 2 == 0 {
                        let mut sum = -s.extra_start_cost;
                        for to in t + 1..=n {
                            let row = p.frame(to - 1);
                            sum += row.iter().map(|x| heard(*x, s)).fold(f64::NEG_INFINITY, f64::max)
                                - s.extra_frame_cost;
                            best = best.max(sum + go(g, p, s, law, At::Gap(w), to, 2, false));
                        }
                    }
                    if w < g.words.len() {
                        let cost =
                            if skipped { s.next_skip_cost.min(s.word_skip_cost) } else { s.word_skip_cost };
                        best = best.max(-cost + go(g, p, s, law, At::Gap(w + 1), t, 0, true));
                        for u in &g.words[w].firsts {
                            let entry = f64::from(g.units[*u].entry);
                            best = best.max(-entry + go(g, p, s, law, At::Unit(w, *u), t, 0, false));
                        }
                    }
                }
                At::Unit(w, u) => {
                    let unit = &g.units[u];
                    for to in t + unit.law.shortest..=n {
                        let next = if unit.last { At::Gap(w + 1) } else { At::Unit(w, u + 1) };
                        best = best
                            .max(span(t, to, unit.law, unit.phone) + go(g, p, s, law, next, to, 0, false));
                    }
                }
            }
            best
        }
        go(graph, p, s, DurationLaw::of(Phone::Sil, s), At::Gap(0), 0, 0, false)
    }

    /// What a frame adds that finds a phone this probable.
    fn heard(probable: f32, s: &ListenSettings) -> f64 {
        s.script_sound_weight * f64::from(probable.max(FLOOR).ln())
    }

    /// The same sum for a given way.
    fn value(graph: &Graph, p: &Posteriors, s: &ListenSettings, way: &[Stretch]) -> f64 {
        let mut sum = 0.0;
        let mut said = vec![false; graph.words.len()];
        for x in way {
            let (phone, law) = match x.part {
                Part::Unit(u) => {
                    let w = graph.words.iter().position(|w| w.units.contains(&u)).expect("of some word");
                    said[w] = true;
                    if graph.words[w].firsts.contains(&u) {
                        sum -= f64::from(graph.units[u].entry);
                    }
                    (graph.units[u].phone, graph.units[u].law)
                }
                Part::Pause => (Phone::Sil, DurationLaw::of(Phone::Sil, s)),
                Part::Extra => {
                    sum -= s.extra_start_cost;
                    for f in x.frames.clone() {
                        sum += p.frame(f).iter().map(|x| heard(*x, s)).fold(f64::NEG_INFINITY, f64::max)
                            - s.extra_frame_cost;
                    }
                    continue;
                }
            };
            sum += x.frames.clone().map(|f| heard(p.frame(f)[phone.index()], s)).sum::<f64>();
            sum += (x.frames.len() - law.shortest) as f64 * f64::from(law.stay) + f64::from(law.leave);
        }
        // All words left out here lie next to each other in the tiny cases.
        let left_out = said.iter().filter(|s| !**s).count();
        if left_out > 0 {
            sum -= s.word_skip_cost + (left_out - 1) as f64 * s.next_skip_cost;
        }
        sum
    }

    #[test]
    fn finds_the_best_of_all_ways() {
        let settings = ListenSettings {
            shortest_phone: 0.3,
            word_skip_cost: 5.0,
            next_skip_cost: 3.0,
            extra_start_cost: 3.0,
            extra_frame_cost: 1.0,
            ..ListenSettings::default()
        };
        let graph = graph("a oh", &settings);
        for seed in 0..12 {
            let p = random_posteriors(11, seed, &[Phone::Sil, Phone::Ah, Phone::Ow, Phone::Ey, Phone::K]);
            let way = align(&graph, &p, &settings, &mut Quiet).expect("not cancelled").expect("a way");
            let (fast, judge) = (value(&graph, &p, &settings, &way), slow(&graph, &p, &settings));
            assert!((fast - judge).abs() < 1e-3, "seed {seed}: {fast} vs {judge}");
        }
    }

    fn covers(way: &[Stretch], frames: usize) {
        let mut at = 0;
        for s in way {
            assert_eq!(s.frames.start, at);
            assert!(s.frames.end > at);
            at = s.frames.end;
        }
        assert_eq!(at, frames);
    }

    /// A narrow sweep interval must change nothing: here the arena is swept by force.
    #[test]
    fn sweeping_changes_nothing() {
        use Phone::*;
        let settings = ListenSettings::default();
        let graph = graph("mind the mud", &settings);
        let p = posteriors_of(
            &[
                (Sil, 10),
                (M, 7),
                (Ay, 16),
                (N, 5),
                (D, 5),
                (Dh, 4),
                (Ah, 6),
                (M, 7),
                (Ah, 10),
                (D, 8),
                (Sil, 20),
            ],
            0.6,
            5,
        );
        let whole = align(&graph, &p, &settings, &mut Quiet).expect("not cancelled").expect("a way");
        covers(&whole, p.frames());
        let gap =
            || Gap { pause: vec![Token::NONE; DurationLaw::of(Sil, &settings).shortest], extra: Token::NONE };
        let mut search = Search {
            graph: &graph,
            settings: &settings,
            pause_law: DurationLaw::of(Sil, &settings),
            states: vec![Token::NONE; graph.states],
            gaps: (0..=graph.words.len()).map(|_| gap()).collect(),
            live: 0..0,
            steps: Vec::new(),
            sweep_at: 0,
        };
        for t in 0..p.frames() {
            search.advance(t);
            assert!(search.listen(p.frame(t)));
            search.sweep_at = 0;
            search.sweep();
        }
        assert!(search.steps.len() < 200);
        assert_eq!(search.finish(p.frames()), Some(whole));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn any_sound_and_script_are_covered(frames in 1usize..120, seed: u64, script in "([a-z]{1,6} ){0,12}") {
            let settings = ListenSettings::default();
            let graph = graph(&script, &settings);
            let p = random_posteriors(frames, seed, &Phone::ALL);
            if let Some(way) = align(&graph, &p, &settings, &mut Quiet).expect("not cancelled") {
                covers(&way, frames);
            } else {
                prop_assert!(false, "no way");
            }
        }
    }
}
