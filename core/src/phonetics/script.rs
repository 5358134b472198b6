//! From a written script to words that can be looked up.
//!
//! What is written is not always what is said, and often it can be said in several ways: every
//! token carries all its likely readings, and listening decides between them.

use super::Language;
use super::margin::Margin;
use super::numbers::{cardinal, digits, ordinal, year};
use std::ops::Range;

/// Characters of the longest token that is taken for something to say. Beyond any word or number that
/// a person speaks in one breath; what is longer (a hash, a picture pasted as text) would be searched
/// for in the whole recording at great cost.
const LONGEST_TOKEN: usize = 100;

/// A token of the script, as written and as it may be said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScriptWord {
    /// As the script writes it, without the punctuation around it.
    pub text: String,
    /// Where it stands in the script, in bytes.
    pub place: Range<usize>,
    /// The ways to say it, likeliest first; each a list of lower-case words of a to z and
    /// apostrophes, and in other languages than English of that language's letters. Empty if it cannot
    /// be said in such letters at all, or is longer than anybody says in one piece (100 characters).
    pub readings: Vec<Vec<String>>,
    /// True if punctuation after it suggests a pause.
    pub pause_after: bool,
    /// True if it is probably a speaker's name before what they say (`KEEPER: Good evening`), and
    /// not itself said.
    pub label: bool,
}

/// Splits a script into words to say.
///
/// Text in square, round or curly brackets is a stage direction and is skipped (an unclosed
/// bracket hides the rest of its line). Numbers, ordinals, years, times of day, money, percentages,
/// units after numbers, common abbreviations, hyphens, typographic quotes and accents are
/// understood.
///
/// ```
/// use lipwright_core::phonetics::script_words;
/// let words = script_words("[coughs] Built in 1887, Mr. Tide!");
/// let said: Vec<_> = words.iter().map(|w| w.readings[0].join(" ")).collect();
/// assert_eq!(said, ["built", "in", "eighteen eighty seven", "mister", "tide"]);
/// assert!(words[2].pause_after);
/// ```
#[must_use]
pub fn script_words(script: &str) -> Vec<ScriptWord> {
    script_words_in(script, Language::English)
}

/// The same, for a script in `language` unless its own margin names another.
///
/// Numbers and abbreviations are understood in English only; in other languages they have no reading,
/// and are to be written out.
#[must_use]
pub fn script_words_in(script: &str, language: Language) -> Vec<ScriptWord> {
    let margin = Margin::of(script);
    let language = margin.language.unwrap_or(language);
    let mut hidden = stage_directions(script);
    hidden.extend(margin.lines);
    hidden.sort_by_key(|h| h.start);
    let mut out: Vec<ScriptWord> = Vec::new();
    for (place, token) in tokens(script, &hidden) {
        let core = token.trim_matches(|c: char| !is_word_char(c));
        if core.chars().all(|c| matches!(c, '-' | '\u{2212}')) {
            // A dash or dots on their own.
            if let Some(last) = out.last_mut().filter(|_| token.chars().any(pauses)) {
                last.pause_after = true;
            }
            continue;
        }
        let start = place.start + (core.as_ptr() as usize - token.as_ptr() as usize);
        let after = &token[core.as_ptr() as usize - token.as_ptr() as usize + core.len()..];
        let follows = script[place.end..].trim_start();
        let previous = out.last().map(|w| w.text.clone());
        let (text, readings, used_dot) = match language {
            Language::English => read(core, after, previous.as_deref(), follows),
            _ => (core.to_owned(), spelled(core, language), false),
        };
        let pause_after = after.chars().skip(usize::from(used_dot)).any(pauses);
        let place = start..start + core.len();
        out.push(ScriptWord { text, place, readings, pause_after, label: false });
    }
    mark_labels(script, &mut out);
    out
}

/// Marks speakers' names: up to three words in capitals at the start of a line, the last one with a
/// colon after it.
fn mark_labels(script: &str, words: &mut [ScriptWord]) {
    let mut from = 0;
    while from < words.len() {
        let line_end =
            script[words[from].place.end..].find('\n').map_or(script.len(), |n| words[from].place.end + n);
        let line = words[from..].iter().take_while(|w| w.place.start < line_end).count();
        let capitals = |w: &ScriptWord| {
            w.text.chars().filter(|c| c.is_alphabetic()).count() >= 2
                && !w.text.chars().any(char::is_lowercase)
        };
        let named = words[from..from + line].iter().take(3).take_while(|w| capitals(w)).count();
        let colon =
            (1..=named).find(|n| script[words[from + n - 1].place.end..].trim_start().starts_with(':'));
        for word in &mut words[from..from + colon.unwrap_or(0)] {
            word.label = true;
        }
        from += line.max(1);
    }
}

/// Byte ranges of bracketed text.
fn stage_directions(script: &str) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = Vec::new();
    let mut open: Vec<(char, usize)> = Vec::new();
    let close_line = |open: &mut Vec<(char, usize)>, out: &mut Vec<Range<usize>>, at: usize| {
        if let Some((_, start)) = open.first().copied() {
            let end = script[start..].find('\n').map_or(at, |n| start + n).min(at);
            out.push(start..end);
        }
        open.clear();
    };
    for (at, c) in script.char_indices() {
        match c {
            '[' | '(' | '{' => open.push((c, at)),
            ']' | ')' | '}' => {
                let wanted = match c {
                    ']' => '[',
                    ')' => '(',
                    _ => '{',
                };
                if let Some(n) = open.iter().rposition(|(o, _)| *o == wanted) {
                    let (_, start) = open[n];
                    open.truncate(n);
                    if n == 0 {
                        out.push(start..at + c.len_utf8());
                    }
                }
            }
            _ => {}
        }
    }
    close_line(&mut open, &mut out, script.len());
    out
}

/// Pieces between white space, slashes, dashes and stage directions, with their places. A hyphen
/// between letters also divides; one before a digit is a minus.
fn tokens<'a>(script: &'a str, hidden: &[Range<usize>]) -> Vec<(Range<usize>, &'a str)> {
    let mut out = Vec::new();
    let mut start = None;
    let mut hidden = hidden.iter().peekable();
    let mut last = ' ';
    let mut chars = script.char_indices().peekable();
    while let Some((at, c)) = chars.next() {
        while hidden.peek().is_some_and(|h| h.end <= at) {
            hidden.next();
        }
        let inside = hidden.peek().is_some_and(|h| h.contains(&at));
        let next = chars.peek().map_or(' ', |(_, c)| *c);
        let hyphen = matches!(c, '-' | '\u{2010}' | '\u{2011}' | '\u{2212}')
            && (last.is_alphanumeric() || !next.is_ascii_digit());
        let divides = c.is_whitespace() || matches!(c, '/' | '|' | '_' | '*' | '~' | '\u{feff}');
        let dash = matches!(c, '\u{2012}'..='\u{2015}');
        if inside || divides {
            if let Some(s) = start.take() {
                out.push((s..at, &script[s..at]));
            }
        } else if hyphen || dash {
            // The dash goes with the piece before, to mark a pause there if it is a long one.
            let s = start.take().unwrap_or(at);
            let end = at + c.len_utf8();
            let double = c == '-' && (last == '-' || next == '-' || last == ' ');
            let end = if dash || double { end } else { at };
            if s < end {
                out.push((s..end, &script[s..end]));
            }
        } else if start.is_none() {
            start = Some(at);
        }
        last = if inside { ' ' } else { c };
    }
    if let Some(s) = start {
        out.push((s..script.len(), &script[s..]));
    }
    out
}

fn is_word_char(c: char) -> bool {
    c.is_alphanumeric()
        || matches!(c, '$' | '£' | '€' | '%' | '°' | '&' | '+' | '#' | '@' | '=' | '-' | '\u{2212}')
}

fn pauses(c: char) -> bool {
    matches!(c, '.' | ',' | ';' | ':' | '?' | '!' | '…' | '-' | '\u{2012}'..='\u{2015}')
}

/// Text, readings, and whether a dot after it belongs to it.
fn read(core: &str, after: &str, previous: Option<&str>, follows: &str) -> (String, Vec<Vec<String>>, bool) {
    if core.chars().nth(LONGEST_TOKEN).is_some() {
        return (core.to_owned(), Vec::new(), false);
    }
    let dotted = after.starts_with('.');
    let simple: String = core.chars().flat_map(fold).collect();
    let lower = simple.to_lowercase();
    let after_number = previous.is_some_and(|p| p.ends_with(|c: char| c.is_ascii_digit()));
    if let Some(readings) = abbreviation(&lower, dotted, after_number, follows) {
        let text = if dotted { format!("{core}.") } else { core.to_owned() };
        return (text, readings, dotted);
    }
    let readings = if lower.bytes().any(|b| b.is_ascii_digit()) {
        numeral(&lower, after_number)
    } else {
        plain(&simple)
    };
    (core.to_owned(), readings, false)
}

/// A word of another language than English, in that language's letters.
fn spelled(text: &str, language: Language) -> Vec<Vec<String>> {
    let mut word = String::new();
    for c in text.chars().flat_map(char::to_lowercase) {
        match c {
            'a'..='z' => word.push(c),
            c if language.letters().contains(c) => word.push(c),
            c => word.extend(fold(c).filter(|c| c.is_ascii_lowercase() || *c == '\'')),
        }
    }
    let word = word.trim_matches('\'');
    let long = text.chars().nth(LONGEST_TOKEN).is_some();
    if long || word.is_empty() || text.contains(|c: char| c.is_numeric()) {
        Vec::new()
    } else {
        vec![vec![word.to_owned()]]
    }
}

/// The forms in which one written word may be looked up, in any language; none if it is not one word of
/// letters.
pub(super) fn keys(word: &str) -> Vec<String> {
    let core = word.trim_matches(|c: char| !is_word_char(c));
    let simple: String = core.chars().flat_map(fold).collect();
    let whole = simple.chars().all(|c| c.is_alphabetic() || c == '\'');
    let ways = if whole { plain(&simple) } else { Vec::new() };
    let mut keys: Vec<String> = ways.into_iter().filter(|w| w.len() == 1).flatten().collect();
    if !keys.is_empty() {
        keys.extend(Language::ALL.into_iter().flat_map(|l| spelled(core, l)).flatten());
    }
    keys.sort();
    keys.dedup();
    keys
}

/// Words without digits.
fn plain(text: &str) -> Vec<Vec<String>> {
    let mut words: Vec<String> = Vec::new();
    let mut word = String::new();
    for c in text.chars().chain([' ']) {
        match c {
            'a'..='z' | 'A'..='Z' => word.push(c.to_ascii_lowercase()),
            '\'' if !word.is_empty() => word.push(c),
            _ => {
                let done = word.trim_end_matches('\'');
                if !done.is_empty() {
                    // The apostrophe of "boats'" is not said, that of "o'clock" is spelled.
                    words.push(done.to_owned());
                }
                word.clear();
                let symbol = match c {
                    '&' | '+' => "and",
                    '%' => "percent",
                    '@' => "at",
                    '#' => "number",
                    '=' => "equals",
                    '$' => "dollars",
                    '£' => "pounds",
                    '€' => "euros",
                    '°' => "degrees",
                    _ => continue,
                };
                words.push(symbol.to_owned());
            }
        }
    }
    if words.is_empty() {
        return Vec::new();
    }
    let letters: String = text.chars().filter(char::is_ascii_alphabetic).collect();
    let capitals =
        letters.len() >= 2 && letters.len() <= 5 && letters.bytes().all(|b| b.is_ascii_uppercase());
    let dots = letters.len() >= 2 && text.matches('.').count() + 1 >= letters.len();
    let spelled: Vec<String> = letters.chars().map(|c| c.to_ascii_lowercase().to_string()).collect();
    if dots {
        // "U.S.A", "a.m": letters one by one.
        vec![spelled]
    } else if capitals {
        // "HELP" or "BBC": the sound decides.
        vec![words, spelled]
    } else {
        vec![words]
    }
}

fn own(words: Vec<&'static str>) -> Vec<String> {
    words.into_iter().map(str::to_owned).collect()
}

/// A piece with digits in it, lower case.
fn numeral(text: &str, after_number: bool) -> Vec<Vec<String>> {
    if let Some(readings) = money(text).or_else(|| time_of_day(text)).or_else(|| suffixed(text)) {
        return readings;
    }
    if let Some(readings) = number(text, after_number) {
        return readings;
    }
    // Mixed letters and digits, such as "b12" or "3d": each run on its own.
    let mut out = Vec::new();
    let mut run = String::new();
    let mut flush = |run: &mut String| {
        if run.starts_with(|c: char| c.is_ascii_digit()) {
            out.extend(number(run, false).into_iter().flatten().next().unwrap_or_default());
        } else if !run.is_empty() {
            out.extend(plain(run).into_iter().next().unwrap_or_default());
        }
        run.clear();
    };
    let mut digit = None;
    for c in text.chars() {
        if !(c.is_ascii_alphanumeric() || matches!(c, '\'' | '%' | '&' | '$' | '+' | '°')) {
            flush(&mut run);
            digit = None;
            continue;
        }
        if digit.is_some_and(|d| d != c.is_ascii_digit()) {
            flush(&mut run);
        }
        digit = Some(c.is_ascii_digit());
        run.push(c);
    }
    flush(&mut run);
    if out.is_empty() { Vec::new() } else { vec![out] }
}

/// Digits with thousands separators, a sign, and a decimal part.
fn number(text: &str, after_number: bool) -> Option<Vec<Vec<String>>> {
    let (minus, text) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, text),
    };
    let (whole, part) = match text.split_once('.') {
        Some((w, p)) => (w, Some(p)),
        None => (text, None),
    };
    let grouped = whole.contains(',');
    let plain: String = whole.chars().filter(|c| *c != ',').collect();
    let all_digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    if !all_digits(&plain) || part.is_some_and(|p| !all_digits(p)) {
        return None;
    }
    let long = plain.len() > 15 || plain.len() > 1 && plain.starts_with('0');
    let value: u64 = plain.parse().ok().filter(|_| !long).unwrap_or(0);
    let mut readings = Vec::new();
    let mut add = |mut words: Vec<String>| {
        if let Some(p) = part {
            words.push("point".to_owned());
            words.extend(own(digits(p, "zero")));
        }
        if minus {
            words.insert(0, "minus".to_owned());
        }
        if !readings.contains(&words) {
            readings.push(words);
        }
    };
    if long {
        add(own(digits(&plain, "zero")));
        add(own(digits(&plain, "oh")));
        return Some(readings);
    }
    if !grouped
        && part.is_none()
        && !after_number
        && let Some(words) = year(value)
    {
        add(own(words));
    }
    add(own(cardinal(value, false)));
    add(own(cardinal(value, true)));
    if value >= 100 && part.is_none() && !grouped {
        add(own(digits(&plain, "oh")));
    }
    Some(readings)
}

/// `$3.50`, `£1,200`, `€5`.
fn money(text: &str) -> Option<Vec<Vec<String>>> {
    let sign = text.chars().next()?;
    let (one, many, small_one, small_many) = match sign {
        '$' => ("dollar", "dollars", "cent", "cents"),
        '£' => ("pound", "pounds", "penny", "pence"),
        '€' => ("euro", "euros", "cent", "cents"),
        _ => return None,
    };
    let amount = &text[sign.len_utf8()..];
    let (whole, part) = amount.split_once('.').unwrap_or((amount, ""));
    let units = number(whole, true)?;
    let value: u64 = whole.replace(',', "").parse().unwrap_or(2);
    let small = match part.len() {
        0 => None,
        2 => part.parse::<u64>().ok(),
        _ => return None,
    };
    let mut readings = Vec::new();
    for unit in units {
        let mut full = unit.clone();
        full.push(if value == 1 { one } else { many }.to_owned());
        match small {
            None | Some(0) => readings.push(full),
            Some(cents) => {
                let words = own(cardinal(cents, false));
                // "three dollars and fifty cents", "three dollars fifty", "three fifty".
                let mut long = full.clone();
                long.push("and".to_owned());
                long.extend(words.clone());
                long.push(if cents == 1 { small_one } else { small_many }.to_owned());
                let mut medium = full;
                medium.extend(words.clone());
                let mut short = unit;
                short.extend(words);
                readings.extend([long, medium, short]);
            }
        }
    }
    readings.truncate(6);
    Some(readings)
}

/// `10:30`, `9:05`, `6:00`, with `am` or `pm` glued on or not.
fn time_of_day(text: &str) -> Option<Vec<Vec<String>>> {
    let (clock, half) = match text.trim_end_matches('.').replace('.', "") {
        t if t.ends_with("am") => (t[..t.len() - 2].to_owned(), ["a", "m"].as_slice()),
        t if t.ends_with("pm") => (t[..t.len() - 2].to_owned(), ["p", "m"].as_slice()),
        _ => (text.to_owned(), [].as_slice()),
    };
    let (hour, minute) = match clock.split_once(':') {
        Some((h, m)) if m.len() == 2 => (h.parse::<u64>().ok()?, m.parse::<u64>().ok()?),
        None if !half.is_empty() => (clock.parse::<u64>().ok()?, 0),
        _ => return None,
    };
    if hour > 24 || minute > 59 {
        return None;
    }
    let base = own(cardinal(hour, false));
    let with = |words: &[&str]| {
        let mut out = base.clone();
        out.extend(words.iter().chain(half).map(|w| (*w).to_owned()));
        out
    };
    Some(match minute {
        0 if half.is_empty() => vec![with(&["o'clock"]), with(&["hundred"]), with(&[])],
        0 => vec![with(&[]), with(&["o'clock"])],
        few @ 1..=9 => vec![with(&["oh", cardinal(few, false)[0]])],
        many => vec![with(&cardinal(many, false))],
    })
}

/// `21st`, `1880s`, `50%`, `-3°`, `5km`.
fn suffixed(text: &str) -> Option<Vec<Vec<String>>> {
    let split = text.rfind(|c: char| c.is_ascii_digit())? + 1;
    let (digits, suffix) = text.split_at(split);
    let bare: String = digits.chars().filter(|c| *c != ',').collect();
    match suffix {
        "st" | "nd" | "rd" | "th" => {
            Some(vec![ordinal(bare.parse().ok().filter(|n| *n < 1_000_000_000_000_000)?)])
        }
        "s" | "'s" => {
            let mut readings = number(digits, false)?;
            for words in &mut readings {
                let last = words.last_mut()?;
                *last = match last.as_str() {
                    "six" => "sixes".to_owned(),
                    y if y.ends_with('y') => format!("{}ies", &y[..y.len() - 1]),
                    other => format!("{other}s"),
                };
            }
            Some(readings)
        }
        "" => None,
        unit => {
            let words = match unit {
                "%" => vec!["percent"],
                "°" => vec!["degrees"],
                "°c" => vec!["degrees", "celsius"],
                "°f" => vec!["degrees", "fahrenheit"],
                unit => vec![unit_name(unit)?],
            };
            let mut readings = number(digits, true)?;
            for reading in &mut readings {
                reading.extend(own(words.clone()));
            }
            Some(readings)
        }
    }
}

fn unit_name(unit: &str) -> Option<&'static str> {
    Some(match unit {
        "km" => "kilometers",
        "m" => "meters",
        "cm" => "centimeters",
        "mm" => "millimeters",
        "kg" => "kilograms",
        "g" => "grams",
        "l" => "liters",
        "ft" => "feet",
        "lb" | "lbs" => "pounds",
        "oz" => "ounces",
        "mi" => "miles",
        "yd" | "yds" => "yards",
        "mph" => "miles per hour",
        "hr" | "hrs" => "hours",
        "min" | "mins" => "minutes",
        "sec" | "secs" => "seconds",
        _ => return None,
    })
}

/// Common abbreviations; most only with their dot.
fn abbreviation(lower: &str, dotted: bool, after_number: bool, follows: &str) -> Option<Vec<Vec<String>>> {
    let say =
        |words: &[&str]| Some(words.iter().map(|w| w.split(' ').map(str::to_owned).collect()).collect());
    let name_follows = follows.starts_with(char::is_uppercase);
    match lower {
        "mr" => say(&["mister"]),
        "mrs" => say(&["missus"]),
        "ms" => say(&["miz"]),
        "dr" if name_follows => say(&["doctor", "drive"]),
        "dr" => say(&["drive", "doctor"]),
        "st" if dotted && name_follows => say(&["saint", "street"]),
        "st" if dotted => say(&["street", "saint"]),
        "capt" => say(&["captain"]),
        "lt" if dotted => say(&["lieutenant"]),
        "sgt" => say(&["sergeant"]),
        "col" if dotted => say(&["colonel"]),
        "gen" if dotted => say(&["general"]),
        "prof" if dotted => say(&["professor"]),
        "rev" if dotted => say(&["reverend"]),
        "mt" if dotted => say(&["mount"]),
        "jr" => say(&["junior"]),
        "sr" if dotted => say(&["senior"]),
        "ave" if dotted => say(&["avenue"]),
        "rd" if dotted => say(&["road"]),
        "etc" => say(&["et cetera"]),
        "vs" => say(&["versus"]),
        "approx" => say(&["approximately"]),
        "dept" => say(&["department"]),
        "e.g" | "eg" if dotted => say(&["for example", "e g"]),
        "i.e" | "ie" if dotted => say(&["that is", "i e"]),
        "no" if dotted && follows.starts_with(|c: char| c.is_ascii_digit()) => say(&["number"]),
        "ok" => say(&["okay"]),
        "am" | "a.m" if after_number => say(&["a m", "am"]),
        "pm" | "p.m" if after_number => say(&["p m"]),
        unit if after_number => {
            let name = unit_name(unit).filter(|_| unit.len() > 1 || dotted)?;
            say(&[name])
        }
        _ => None,
    }
}

/// A character in plain letters: accents and typographic forms taken off; what has no plain form
/// stays as it is.
fn fold(c: char) -> impl Iterator<Item = char> {
    let plain: &str = match c {
        '\u{2018}' | '\u{2019}' | '\u{201B}' | '\u{02BC}' | '\u{2032}' | '`' | '´' => "'",
        '\u{AD}' | '\u{200B}'..='\u{200D}' | '\u{2060}' | '\u{300}'..='\u{36F}' => "",
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' | 'ā' | 'ă' | 'ą' => "a",
        'À' | 'Á' | 'Â' | 'Ã' | 'Ä' | 'Å' | 'Ā' | 'Ă' | 'Ą' => "A",
        'ç' | 'ć' | 'č' => "c",
        'Ç' | 'Ć' | 'Č' => "C",
        'ď' | 'đ' | 'ð' => "d",
        'Ď' | 'Đ' | 'Ð' => "D",
        'è' | 'é' | 'ê' | 'ë' | 'ē' | 'ė' | 'ę' | 'ě' => "e",
        'È' | 'É' | 'Ê' | 'Ë' | 'Ē' | 'Ė' | 'Ę' | 'Ě' => "E",
        'ğ' => "g",
        'ì' | 'í' | 'î' | 'ï' | 'ī' | 'į' | 'ı' => "i",
        'Ì' | 'Í' | 'Î' | 'Ï' | 'Ī' | 'İ' => "I",
        'ł' | 'ľ' => "l",
        'Ł' | 'Ľ' => "L",
        'ñ' | 'ń' | 'ň' => "n",
        'Ñ' | 'Ń' | 'Ň' => "N",
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' | 'ō' | 'ő' => "o",
        'Ò' | 'Ó' | 'Ô' | 'Õ' | 'Ö' | 'Ø' | 'Ō' | 'Ő' => "O",
        'ř' => "r",
        'Ř' => "R",
        'ś' | 'š' | 'ş' | 'ș' => "s",
        'Ś' | 'Š' | 'Ş' | 'Ș' => "S",
        'ť' | 'ţ' | 'ț' => "t",
        'Ť' | 'Ţ' | 'Ț' => "T",
        'ù' | 'ú' | 'û' | 'ü' | 'ū' | 'ů' | 'ű' => "u",
        'Ù' | 'Ú' | 'Û' | 'Ü' | 'Ū' | 'Ů' | 'Ű' => "U",
        'ý' | 'ÿ' => "y",
        'Ý' => "Y",
        'ź' | 'ż' | 'ž' => "z",
        'Ź' | 'Ż' | 'Ž' => "Z",
        'ß' => "ss",
        'æ' => "ae",
        'Æ' => "Ae",
        'œ' => "oe",
        'Œ' => "Oe",
        'þ' => "th",
        'Þ' => "Th",
        'ﬁ' => "fi",
        'ﬂ' => "fl",
        _ => return Folded::Same(Some(c)),
    };
    Folded::Plain(plain.chars())
}

/// Either the character itself or what stands for it.
enum Folded {
    Same(Option<char>),
    Plain(std::str::Chars<'static>),
}

impl Iterator for Folded {
    type Item = char;

    fn next(&mut self) -> Option<char> {
        match self {
            Self::Same(c) => c.take(),
            Self::Plain(chars) => chars.next(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn first(script: &str) -> Vec<String> {
        script_words(script)
            .iter()
            .map(|w| w.readings.first().map_or("?".to_owned(), |r| r.join(" ")))
            .collect()
    }

    fn said(script: &str) -> String {
        first(script).join(" ")
    }

    fn readings(token: &str) -> Vec<String> {
        script_words(token)[0].readings.iter().map(|r| r.join(" ")).collect()
    }

    #[test]
    fn plain_sentences() {
        assert_eq!(
            said("Welcome to Port Wimbry! I’m the harbourmaster."),
            "welcome to port wimbry i'm the harbourmaster"
        );
        assert_eq!(said("“Well—” said the boats' owner…"), "well said the boats owner");
        assert_eq!(said("twenty-two well-kept boats"), "twenty two well kept boats");
        assert_eq!(said("café naïve Zoë œuvre"), "cafe naive zoe oeuvre");
        let words = script_words("Yes, no; but wait - stop");
        let pauses: Vec<bool> = words.iter().map(|w| w.pause_after).collect();
        assert_eq!(pauses, [true, true, false, true, false]);
    }

    #[test]
    fn stage_directions_are_not_said() {
        assert_eq!(said("[bell rings] Ahoy (loudly) there {pause} friend"), "ahoy there friend");
        assert_eq!(said("Ahoy [nested (very) deep] there"), "ahoy there");
        assert_eq!(said("Ahoy [never closed\nthere"), "ahoy there");
        assert_eq!(said("odd ) closer"), "odd closer");
    }

    #[test]
    fn numbers_times_and_money() {
        assert_eq!(said("In 1887 we had 12 boats"), "in eighteen eighty seven we had twelve boats");
        assert!(readings("1887").contains(&"one thousand eight hundred eighty seven".to_owned()));
        assert_eq!(said("1,250 fish"), "one thousand two hundred fifty fish");
        assert_eq!(said("3.14"), "three point one four");
        assert_eq!(said("at -5°C"), "at minus five degrees celsius");
        assert_eq!(said("at 10:30, 9:05 and 6:00"), "at ten thirty nine oh five and six o'clock");
        assert_eq!(said("at 10:30 pm or 7am"), "at ten thirty p m or seven a m");
        assert_eq!(
            readings("$3.50"),
            ["three dollars and fifty cents", "three dollars fifty", "three fifty",]
        );
        assert_eq!(said("£1"), "one pound");
        assert_eq!(said("the 21st, the 3rd"), "the twenty first the third");
        assert_eq!(said("50% of 5 km"), "fifty percent of five kilometers");
        assert_eq!(said("the 1880s"), "the eighteen eighties");
        assert_eq!(said("pier B12"), "pier b twelve");
        assert_eq!(said("007"), "zero zero seven");
    }

    #[test]
    fn abbreviations() {
        assert_eq!(
            said("Mr. and Mrs. Tide, Capt. Foam, Dr. Gale"),
            "mister and missus tide captain foam doctor gale"
        );
        assert_eq!(said("St. Elmo lives in Quay St."), "saint elmo lives in quay street");
        assert_eq!(readings("BBQ"), ["bbq", "b b q"]);
        assert_eq!(said("the U.S. coast"), "the u s coast");
        assert_eq!(said("No. 7, but no."), "number seven but no");
        assert_eq!(said("fish & chips"), "fish and chips");
    }

    #[test]
    fn names_of_speakers_are_marked() {
        let labels = |script: &str| -> Vec<String> {
            script_words(script).into_iter().filter(|w| w.label).map(|w| w.text).collect()
        };
        assert_eq!(
            labels("KEEPER: Good evening.\nOLD TOM: And to you: ALL of you\nNo label"),
            ["KEEPER", "OLD", "TOM"]
        );
        assert!(labels("Look: A LIGHT: there\nI: me").is_empty());
    }

    #[test]
    fn what_english_letters_cannot_say_has_no_reading() {
        let words = script_words("привет 你好 harbour");
        assert_eq!(words.len(), 3);
        assert!(words[0].readings.is_empty() && words[1].readings.is_empty());
        assert_eq!(words[2].text, "harbour");
    }

    #[test]
    fn what_nobody_says_in_one_piece_has_no_reading() {
        for long in ["9".repeat(101), "harbour".repeat(20), format!("$1,{}.50", "000,".repeat(30))] {
            let words = script_words(&format!("the {long} tide"));
            assert_eq!(words.len(), 3, "{long}");
            assert!(words[1].readings.is_empty(), "{long}");
            assert_eq!(words[2].readings, [["tide"]]);
        }
        assert!(!script_words(&"9".repeat(100))[0].readings.is_empty());
    }

    proptest! {
        #[test]
        fn any_text_gives_speakable_words(script in any::<String>()) {
            for w in script_words(&script) {
                prop_assert!(script.get(w.place.clone()).is_some());
                for word in w.readings.iter().flatten() {
                    prop_assert!(!word.is_empty() && word.bytes().all(|b| b.is_ascii_lowercase() || b == b'\''), "{:?}", word);
                }
                prop_assert!(w.readings.iter().all(|r| !r.is_empty()));
            }
        }

        #[test]
        fn any_numbers_and_brackets_give_words(script in "[-0-9a-z:.,$£%°'()\\[\\]{} \n–]{0,30}") {
            for w in script_words(&script) {
                for word in w.readings.iter().flatten() {
                    prop_assert!(!word.is_empty() && word.bytes().all(|b| b.is_ascii_lowercase() || b == b'\''), "{:?}", word);
                }
            }
        }
    }
}
