//! French spelling. Final consonants that may sound before a vowel (liaison), and *-ent* as the ending
//! of a verb or not, have two ways; the sound decides. What spelling alone does not tell (*ville*
//! beside *fille*) follows the commoner way, but for a short list.

use super::rules::Reader;
use crate::phonetics::{Phone, SpokenPhone, Stress};

/// Short words that the rules would get wrong, with their phones.
const ODD: [(&str, &[Phone]); 28] = {
    use Phone::*;
    [
        ("est", &[Eh]),
        ("et", &[Ey]),
        ("les", &[L, Ey]),
        ("des", &[D, Ey]),
        ("mes", &[M, Ey]),
        ("tes", &[T, Ey]),
        ("ses", &[S, Ey]),
        ("ces", &[S, Ey]),
        ("ville", &[V, Iy, L]),
        ("mille", &[M, Iy, L]),
        ("monsieur", &[M, Uh, S, Y, Uh]),
        ("femme", &[F, Aa, M]),
        ("un", &[Ae]),
        ("eu", &[Uw]),
        ("eut", &[Uw]),
        ("six", &[S, Iy, S]),
        ("dix", &[D, Iy, S]),
        ("vingt", &[V, Ae]),
        ("aujourd'hui", &[Ow, Zh, Uw, G, D, W, Iy]),
        ("sept", &[S, Eh, T]),
        ("huit", &[W, Iy, T]),
        ("cinq", &[S, Ae, K]),
        ("fils", &[F, Iy, S]),
        ("tous", &[T, Uw]),
        ("plus", &[P, L, Uw]),
        ("hier", &[Y, Eh, G]),
        ("mer", &[M, Eh, G]),
        ("hiver", &[Iy, V, Eh, G]),
    ]
};

pub(super) fn say(word: &str) -> Vec<Vec<SpokenPhone>> {
    let word: String = word.replace('œ', "oe").replace('æ', "ae");
    if let Some((_, phones)) = ODD.iter().find(|(w, _)| *w == word) {
        return vec![stressed_last(phones)];
    }
    // "l'eau", "qu'il": what is left out before the apostrophe is a mute e.
    if let Some((before, after)) = word.rsplit_once('\'')
        && !before.is_empty()
        && !after.is_empty()
    {
        let head: Vec<SpokenPhone> = consonants(before);
        let join = |tail: Vec<SpokenPhone>| head.iter().copied().chain(tail).collect();
        return say(after).into_iter().map(join).collect();
    }
    let mut ways = vec![read(&word, false)];
    if word.len() > 4 && word.ends_with("ent") {
        // "ils parlent" is the commoner ending, "souvent" the other.
        ways.push(read(word.trim_end_matches("nt"), false));
        ways.swap(0, 1);
    }
    if word.ends_with(['s', 'x', 'z', 't', 'd', 'n']) {
        ways.push(read(&word, true));
    }
    ways
}

fn stressed_last(phones: &[Phone]) -> Vec<SpokenPhone> {
    let mut r = Reader::new("");
    for p in phones {
        if p.is_vowel() { r.vowel(0, *p, false) } else { r.say(0, &[*p]) }
    }
    r.finish(1)
}

/// The sounds of what stands before an apostrophe.
fn consonants(text: &str) -> Vec<SpokenPhone> {
    let mut phones = read(text, true);
    // The stress lies on what comes after.
    phones.iter_mut().for_each(|p| p.stress = Stress::None);
    // "lorsqu'" keeps its vowel, "l'" has none.
    if text.len() <= 2 {
        phones.retain(|p| !p.phone.is_vowel());
    }
    phones
}

fn plain(c: char) -> char {
    match c {
        'à' | 'â' => 'a',
        'é' | 'è' | 'ê' | 'ë' => 'e',
        'î' | 'ï' => 'i',
        'ô' => 'o',
        'ù' | 'û' | 'ü' => 'u',
        'ÿ' => 'y',
        c => c,
    }
}

fn is_vowel(c: char) -> bool {
    matches!(plain(c), 'a' | 'e' | 'i' | 'o' | 'u' | 'y')
}

fn read(word: &str, liaison: bool) -> Vec<SpokenPhone> {
    let mut r = Reader::new(word);
    while !r.done() {
        if is_vowel(r.peek(0)) { vowel(&mut r) } else { consonant(&mut r, liaison) }
    }
    r.finish(1)
}

/// True if nothing, or only letters that are mute at an end, come after `count` letters.
fn tail(r: &Reader, count: usize) -> bool {
    let rest: String = (count..count + 3).map(|i| r.peek(i as isize)).collect();
    matches!(rest.trim_end(), "" | "s" | "t" | "d" | "x" | "z" | "ts" | "ds" | "p" | "ps")
}

/// True if the vowel letters of `count` before an *n* or *m* are nasal: no vowel and no *n*, *m* comes
/// after.
fn nasal(r: &Reader, count: usize) -> bool {
    let (n, after) = (r.peek(count as isize), r.peek(count as isize + 1));
    matches!(n, 'n' | 'm') && !is_vowel(after) && !matches!(after, 'n' | 'm' | 'h')
}

fn vowel(r: &mut Reader) {
    use Phone::*;
    let before = r.peek(-1);
    let back = r.vowel_count() > 0;
    // Nasal vowels: their n or m is not said.
    for (spelled, phones) in [
        ("oin", &[W, Ae] as &[Phone]),
        ("ain", &[Ae]),
        ("aim", &[Ae]),
        ("ein", &[Ae]),
        ("ien", &[Y, Ae]),
        ("yen", &[Y, Ae]),
        ("éen", &[Ey, Ae]),
        ("ean", &[Aa]),
        ("an", &[Aa]),
        ("am", &[Aa]),
        ("en", &[Aa]),
        ("em", &[Aa]),
        ("in", &[Ae]),
        ("im", &[Ae]),
        ("yn", &[Ae]),
        ("ym", &[Ae]),
        ("on", &[Ao]),
        ("om", &[Ao]),
        ("un", &[Ae]),
        ("um", &[Ae]),
    ] {
        let letters = spelled.chars().count();
        if r.next(spelled) && nasal(r, letters - 1) {
            return several(r, letters, phones);
        }
    }
    for (spelled, phones) in [("ail", &[Aa, Y]), ("eil", &[Eh, Y]), ("euil", &[Uh, Y])] {
        let letters = spelled.len();
        if r.next(spelled) && tail(r, letters) {
            return several(r, letters, phones);
        }
    }
    for (spelled, phones) in [
        ("eau", &[Ow] as &[Phone]),
        ("oeu", &[Uh]),
        ("oui", &[W, Iy]),
        ("aill", &[Aa, Y]),
        ("eill", &[Eh, Y]),
        ("euill", &[Uh, Y]),
        ("ouill", &[Uw, Y]),
        ("oî", &[W, Aa]),
        ("oi", &[W, Aa]),
        ("oy", &[W, Aa, Y]),
        ("où", &[Uw]),
        ("oû", &[Uw]),
        ("au", &[Ow]),
        ("aî", &[Eh]),
        ("ay", &[Eh, Y]),
        ("ei", &[Eh]),
        ("eu", &[Uh]),
        ("eû", &[Uh]),
        ("oe", &[Uh]),
        ("ae", &[Ey]),
    ] {
        if r.next(spelled) {
            return several(r, spelled.chars().count(), phones);
        }
    }
    if r.next("ai") {
        return r.vowel(2, Eh, false);
    }
    if r.next("ou") {
        // "ouest", "louer": before a vowel a glide.
        if is_vowel(r.peek(2)) && !(r.peek(2) == 'e' && r.ends_after(3)) {
            return r.say(2, &[W]);
        }
        return r.vowel(2, Uw, false);
    }
    match r.peek(0) {
        'é' => r.vowel(1, Ey, false),
        'è' | 'ê' | 'ë' => r.vowel(1, Eh, false),
        'a' | 'à' | 'â' => r.vowel(1, Aa, false),
        'o' if r.ends_after(1) || tail(r, 1) || r.next("ose") => r.vowel(1, Ow, false),
        'o' => r.vowel(1, Ao, false),
        'ô' => r.vowel(1, Ow, false),
        'u' if before == 'q' || before == 'g' && is_vowel(r.peek(1)) => r.skip(1),
        'u' if is_vowel(r.peek(1)) && !(r.peek(1) == 'e' && r.ends_after(2)) => r.say(1, &[W]),
        'u' | 'û' | 'ü' | 'ù' => r.vowel(1, Uw, false),
        'i' if r.next("ill") && is_vowel(r.peek(3)) => {
            r.vowel(1, Iy, false);
            r.say(2, &[Y]);
        }
        'i' | 'y' if is_vowel(r.peek(1)) && !(r.peek(1) == 'e' && tail(r, 2)) => r.say(1, &[Y]),
        'i' | 'î' | 'ï' | 'y' | 'ÿ' => r.vowel(1, Iy, false),
        'e' => mute_or_open(r, back),
        _ => r.skip(1),
    }
}

/// A plain *e*: mute at an end, open before two consonants and in *-er*, *-ez*, *-et*; else the weak
/// vowel.
fn mute_or_open(r: &mut Reader, back: bool) {
    use Phone::*;
    let (next, after) = (r.peek(1), r.peek(2));
    let consonant = |c: char| c.is_alphabetic() && !is_vowel(c);
    if r.ends_after(1) || r.ends_after(2) && next == 's' {
        // "le", "me", "que": the only vowel there is is said.
        return if back { r.skip(1) } else { r.vowel(1, Uh, false) };
    }
    if r.ends_after(2) && matches!(next, 'r' | 'z') || r.ends_after(3) && next == 'r' && after == 's' {
        // "parler", "nez": the consonant is mute, too.
        return r.vowel(if next == 'z' || back || r.peek(-1) != ' ' { 2 } else { 1 }, Ey, false);
    }
    if consonant(next) && r.ends_after(2) && !matches!(next, 'm' | 'n') || next == 'x' {
        return r.vowel(1, Eh, false);
    }
    let cluster = matches!((next, after), (_, 'r' | 'l')) && !matches!(next, 'l' | 'r' | 's' | 'n' | 'm')
        || matches!((next, after), ('c', 'h') | ('p', 'h') | ('t', 'h') | ('g', 'n'));
    if consonant(next) && consonant(after) && !cluster {
        return r.vowel(1, Eh, false);
    }
    r.vowel(1, Uh, false);
}

fn several(r: &mut Reader, letters: usize, phones: &[Phone]) {
    for p in phones {
        if p.is_vowel() { r.vowel(0, *p, false) } else { r.say(0, &[*p]) }
    }
    r.skip(letters);
}

fn consonant(r: &mut Reader, liaison: bool) {
    use Phone::*;
    let (c, next) = (r.peek(0), r.peek(1));
    // A double letter is one sound.
    if c == next && c != 's' {
        return r.skip(1);
    }
    let soft = |c: char| matches!(plain(c), 'e' | 'i' | 'y');
    let between = is_vowel(r.peek(-1)) && is_vowel(next);
    // Mute at the end, but for c, r, f, l and what liaison wakes.
    let end = r.ends_after(1) || next == 's' && r.ends_after(2);
    if end && matches!(c, 's' | 'x' | 'z' | 't' | 'd' | 'p' | 'g' | 'b') && r.vowel_count() > 0 {
        let woken = match c {
            's' | 'x' | 'z' => &[Z] as &[Phone],
            't' | 'd' => &[T],
            _ => &[],
        };
        return r.say(1, if liaison && r.ends_after(1) { woken } else { &[] });
    }
    match c {
        'c' if next == 'h' => r.say(2, &[Sh]),
        'c' if soft(next) => r.say(1, &[S]),
        'ç' => r.say(1, &[S]),
        'g' if next == 'n' => r.say(2, &[N, Y]),
        'g' if soft(next) => {
            // "mangeons": the e only softens.
            let count = if next == 'e' && matches!(plain(r.peek(2)), 'a' | 'o') { 2 } else { 1 };
            r.say(count, &[Zh]);
        }
        'j' => r.say(1, &[Zh]),
        'p' if next == 'h' => r.say(2, &[F]),
        's' if next == 's' => r.say(2, &[S]),
        's' if next == 'c' && soft(r.peek(2)) => r.say(2, &[S]),
        's' if between => r.say(1, &[Z]),
        's' | 'z' => r.say(1, if c == 's' { &[S] } else { &[Z] }),
        't' if next == 'h' => r.say(2, &[T]),
        // "nation", "patience", but "question".
        't' if next == 'i'
            && is_vowel(r.peek(2))
            && matches!(r.peek(2), 'o' | 'e' | 'a')
            && r.peek(-1) != 's'
            && r.next("tion") =>
        {
            r.say(1, &[S]);
        }
        't' => r.say(1, &[T]),
        'q' | 'k' | 'c' => r.say(1, &[K]),
        'g' => r.say(1, &[G]),
        'r' => r.say(1, &[G]),
        'x' if r.first() => r.say(1, &[G, Z]),
        'x' if between && r.peek(-1) == 'e' => r.say(1, &[G, Z]),
        'x' => r.say(1, &[K, S]),
        'w' => r.say(1, &[W]),
        'b' => r.say(1, &[B]),
        'd' => r.say(1, &[D]),
        'f' => r.say(1, &[F]),
        'l' => r.say(1, &[L]),
        'm' => r.say(1, &[M]),
        'n' => r.say(1, &[N]),
        'p' => r.say(1, &[P]),
        'v' => r.say(1, &[V]),
        // h, and what is no letter of French.
        _ => r.skip(1),
    }
}
