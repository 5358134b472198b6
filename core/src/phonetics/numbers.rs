//! Numbers in words.

const ONES: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 10] =
    ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
const SCALES: [(u64, &str); 4] = [
    (1_000_000_000_000, "trillion"),
    (1_000_000_000, "billion"),
    (1_000_000, "million"),
    (1_000, "thousand"),
];

/// Words of a number below 10¹⁵: `342` is "three hundred forty two". With `and`, as British
/// speakers say it: "three hundred and forty two".
pub(super) fn cardinal(n: u64, and: bool) -> Vec<&'static str> {
    let mut out = Vec::new();
    let mut rest = n;
    for (scale, name) in SCALES {
        if rest >= scale {
            out.extend(below_thousand(rest / scale, and));
            out.push(name);
            rest %= scale;
        }
    }
    if rest > 0 || n == 0 {
        if and && n > 100 && rest < 100 {
            out.push("and");
        }
        out.extend(below_thousand(rest, and));
    }
    out
}

fn below_thousand(n: u64, and: bool) -> Vec<&'static str> {
    let mut out = Vec::new();
    if n >= 100 {
        out.extend([ONES[(n / 100 % 10) as usize], "hundred"]);
        if n.is_multiple_of(100) {
            return out;
        }
        if and {
            out.push("and");
        }
    }
    out.extend(below_hundred(n % 100));
    out
}

fn below_hundred(n: u64) -> Vec<&'static str> {
    if n < 20 {
        return vec![ONES[n as usize]];
    }
    let mut out = vec![TENS[(n / 10) as usize]];
    if !n.is_multiple_of(10) {
        out.push(ONES[(n % 10) as usize]);
    }
    out
}

/// "first", "twenty second", "one hundredth".
pub(super) fn ordinal(n: u64) -> Vec<String> {
    let mut words: Vec<String> = cardinal(n, false).into_iter().map(str::to_owned).collect();
    if let Some(last) = words.last_mut() {
        *last = match last.as_str() {
            "one" => "first".to_owned(),
            "two" => "second".to_owned(),
            "three" => "third".to_owned(),
            "five" => "fifth".to_owned(),
            "eight" => "eighth".to_owned(),
            "nine" => "ninth".to_owned(),
            "twelve" => "twelfth".to_owned(),
            tens if tens.ends_with('y') => format!("{}ieth", &tens[..tens.len() - 1]),
            other => format!("{other}th"),
        };
    }
    words
}

/// A year from 1100 to 2099 as it is usually said: "eighteen eighty seven", "nineteen oh five",
/// "nineteen hundred"; `None` for years said like plain numbers (2000 to 2009).
pub(super) fn year(n: u64) -> Option<Vec<&'static str>> {
    if !(1_100..2_100).contains(&n) || (2_000..2_010).contains(&n) {
        return None;
    }
    let mut out = below_hundred(n / 100);
    match n % 100 {
        0 => out.push("hundred"),
        few @ 1..=9 => out.extend(["oh", ONES[few as usize]]),
        many => out.extend(below_hundred(many)),
    }
    Some(out)
}

/// Digits one by one; `zero` is what a 0 is called.
pub(super) fn digits(text: &str, zero: &'static str) -> Vec<&'static str> {
    text.bytes()
        .filter(u8::is_ascii_digit)
        .map(|d| if d == b'0' { zero } else { ONES[usize::from(d - b'0')] })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_said_as_people_say_them() {
        let say = |n| cardinal(n, false).join(" ");
        assert_eq!(say(0), "zero");
        assert_eq!(say(17), "seventeen");
        assert_eq!(say(342), "three hundred forty two");
        assert_eq!(say(100), "one hundred");
        assert_eq!(say(1_000_001), "one million one");
        assert_eq!(say(90_210), "ninety thousand two hundred ten");
        assert_eq!(cardinal(342, true).join(" "), "three hundred and forty two");
        assert_eq!(cardinal(2_005, true).join(" "), "two thousand and five");
        assert_eq!(cardinal(999_999_999_999_999, false).len(), 24);
        assert_eq!(ordinal(1).join(" "), "first");
        assert_eq!(ordinal(22).join(" "), "twenty second");
        assert_eq!(ordinal(40).join(" "), "fortieth");
        assert_eq!(ordinal(112).join(" "), "one hundred twelfth");
        assert_eq!(year(1887).map(|y| y.join(" ")).as_deref(), Some("eighteen eighty seven"));
        assert_eq!(year(1905).map(|y| y.join(" ")).as_deref(), Some("nineteen oh five"));
        assert_eq!(year(1900).map(|y| y.join(" ")).as_deref(), Some("nineteen hundred"));
        assert_eq!(year(2003), None);
        assert_eq!(digits("007", "oh").join(" "), "oh oh seven");
    }
}
