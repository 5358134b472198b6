//! Every change of a file behind a switch (mutant schemata: Untch, Offutt and Harrold 1993), so that one build
//! holds them all.
//!
//! `a - b * c` becomes `(if is(7) { a + b * c } else if is(8) { a - b / c } else { a - b * c })`: the text of the
//! changed arms is the text as it would stand in the file with that one change, so that it means what it would mean
//! there. Only one change is on at a time, so operands within a changed arm need no switches of their own; those in
//! the last arm have theirs.

use crate::list::{Change, Genre};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};

/// A stretch of the text, what is put before and after it.
struct Wrap {
    range: Range<usize>,
    before: String,
    after: String,
}

/// A file with its switches.
pub struct Woven {
    /// The new text.
    pub text: String,
    /// Changes that are in it.
    pub switched: Vec<usize>,
    /// Changes whose text is no Rust: they cannot compile.
    pub nonsense: Vec<usize>,
}

/// Puts `changes` (numbered) of a file behind switches. What is in neither list of the answer stands in a place
/// that takes no switch: a constant, a pattern.
///
/// Functions that may run while the program is built (`const fn`) lose that, except those named in `fixed`. Changes
/// in `plain` get a switch without a look at whether they would make a difference.
pub fn weave(
    text: &str,
    changes: &[(usize, Change)],
    fixed: &BTreeSet<String>,
    plain: &BTreeSet<usize>,
) -> Result<Woven, syn::Error> {
    let file = syn::parse_file(text)?;
    let mut wanted: BTreeMap<usize, Vec<&(usize, Change)>> = BTreeMap::new();
    for change in changes {
        wanted.entry(change.1.span.start.offset(text)).or_default().push(change);
    }
    let mut weaver = Weaver {
        text,
        wanted,
        wraps: vec![],
        switched: vec![],
        nonsense: vec![],
        fixed: 0,
        above: vec![],
        names: fixed,
        plain,
    };
    weaver.visit_file(&file);
    Ok(Woven { text: spliced(text, weaver.wraps), switched: weaver.switched, nonsense: weaver.nonsense })
}

fn spliced(text: &str, wraps: Vec<Wrap>) -> String {
    // What reaches farther stands outside; of two that reach as far, the one found first.
    let mut order: Vec<(usize, &Wrap)> = wraps.iter().enumerate().collect();
    order.sort_by_key(|(k, w)| (w.range.start, std::cmp::Reverse(w.range.end), *k));
    let mut at: BTreeMap<usize, (String, String)> = BTreeMap::new();
    for (_, wrap) in &order {
        at.entry(wrap.range.start).or_default().1 += &wrap.before;
    }
    for (_, wrap) in order.iter().rev() {
        at.entry(wrap.range.end).or_default().0 += &wrap.after;
    }
    let (mut out, mut done) = (String::new(), 0);
    for (place, (after, before)) in at {
        out += &text[done..place];
        out += &after;
        out += &before;
        done = place;
    }
    out + &text[done..]
}

struct Weaver<'a> {
    text: &'a str,
    wanted: BTreeMap<usize, Vec<&'a (usize, Change)>>,
    wraps: Vec<Wrap>,
    switched: Vec<usize>,
    nonsense: Vec<usize>,
    /// How many surrounding places must be known when the program is built.
    fixed: usize,
    /// Binary expressions that are operands of one that was taken already.
    above: Vec<usize>,
    /// Functions that must stay as they are.
    names: &'a BTreeSet<String>,
    plain: &'a BTreeSet<usize>,
}

/// `/*<7*/ … /*>7*/` stands around what belongs to change 7, so that the compiler's complaints find it.
fn marked(number: usize, inside: &str) -> String {
    format!("/*<{number}*/{inside}/*>{number}*/")
}

impl<'a> Weaver<'a> {
    fn changes(&self, at: usize, genre: Genre) -> Vec<&'a (usize, Change)> {
        let here = self.wanted.get(&at).into_iter().flatten();
        here.filter(|(_, change)| change.genre == genre).copied().collect()
    }

    fn range(&self, node: &impl Spanned) -> Range<usize> {
        node.span().byte_range()
    }

    /// `(if is(n) { … } else if … else { text })` around a stretch.
    fn switch(&mut self, range: Range<usize>, arms: &[(usize, String)], look: &str) {
        if arms.is_empty() || self.fixed > 0 {
            return;
        }
        let mut before = String::from("(");
        let mut names = String::new();
        // Where something looks on, the switch itself need not say that it is reached.
        let asked = if look.is_empty() { "is" } else { "on" };
        for (number, arm) in arms {
            let inside = marked(*number, &format!("crate::mutant::{asked}({number}) {{ {arm} }}"));
            before += &format!("if {inside} else ");
            names += &format!("/*[{number}*/");
            self.switched.push(*number);
        }
        before += "{ ";
        if look.is_empty() {
            self.wraps.push(Wrap { range, before: names + &before, after: " })/*]*/".into() });
        } else {
            self.wraps.push(Wrap {
                range,
                before: format!("{names}({{ if crate::mutant::looking() {{ {look} }} {before}"),
                after: " }) })/*]*/".into(),
            });
        }
    }

    /// A switch around a stretch with an arm for every change of a kind that stands at a place.
    fn replaced(&mut self, range: Range<usize>, at: usize, genre: Genre, arm: impl Fn(&Change) -> String) {
        let arms: Vec<_> = self.changes(at, genre).into_iter().map(|(n, c)| (*n, arm(c))).collect();
        self.switch(range, &arms, "");
    }

    /// Of iterators that a function calls `impl Iterator` there can be one kind only: what it gives is cut off, and one
    /// item put in its place where the change has one.
    fn iterator(&mut self, block: &syn::Block, number: usize, kind: &str) {
        let Some(syn::Stmt::Expr(last, None)) = block.stmts.last() else { return };
        let mut after = format!(").take(if crate::mutant::is({number}) {{ 0 }} else {{ usize::MAX }})");
        if let Some(item) = kind.strip_prefix("once(").and_then(|k| k.strip_suffix(')')) {
            let one = format!("if crate::mutant::on({number}) {{ Some({item}) }} else {{ None }}");
            after += &format!(".chain({})", marked(number, &one));
        }
        self.switched.push(number);
        let (before, after) = (format!("/*[{number}*/("), after + "/*]*/");
        self.wraps.push(Wrap { range: self.range(last), before, after });
    }

    /// 1 where a function must be known when the program is built. Where it only may, `const` is taken away.
    fn fixed(&mut self, head: &syn::Signature) -> usize {
        let Some(word) = &head.constness else { return 0 };
        if self.names.contains(&head.ident.to_string()) {
            return 1;
        }
        self.wraps.push(Wrap { range: self.range(word), before: "/*".into(), after: "*/".into() });
        0
    }

    /// Visits what must be known when the program is built (1) or need not (0).
    fn within(&mut self, fixed: usize, visit: impl FnOnce(&mut Self)) {
        self.fixed += fixed;
        visit(self);
        self.fixed -= fixed;
    }

    /// Operators of an expression as far as no bracket or other construct stands between them.
    fn chain(&self, node: &syn::ExprBinary, out: &mut Vec<Range<usize>>) {
        for side in [&*node.left, &*node.right] {
            if let syn::Expr::Binary(inner) = side {
                self.chain(inner, out);
            }
        }
        out.push(self.range(&node.op));
    }

    fn binary(&mut self, node: &'a syn::ExprBinary) {
        let range = self.range(node);
        let mut operators = vec![];
        self.chain(node, &mut operators);
        let (mut arms, mut look) = (vec![], String::new());
        let original = &self.text[range.clone()];
        let calm = truth(node) && pure(&syn::Expr::Binary(node.clone()));
        for operator in operators {
            self.above.push(operator.start);
            for (number, change) in self.changes(operator.start, Genre::BinaryOperator) {
                let arm = format!(
                    "{}{}{}",
                    &self.text[range.start..operator.start],
                    change.replacement,
                    &self.text[operator.end..range.end]
                );
                if syn::parse_str::<syn::Expr>(&arm).is_err() {
                    self.nonsense.push(*number);
                    continue;
                }
                // Two truths that are the same tell nothing apart: only where they differ is the change reached.
                if calm && !matches!(change.replacement.as_str(), "+" | "-" | "*" | "/" | "%") {
                    look += &marked(
                        *number,
                        &format!("crate::mutant::compare({number}, || {original}, || {arm});"),
                    );
                    arms.push((*number, arm));
                } else {
                    look += &format!("crate::mutant::reached({number});");
                    arms.push((*number, arm));
                }
            }
        }
        if !calm || arms.iter().any(|(n, _)| self.plain.contains(n)) {
            look = String::new();
        }
        self.switch(range, &arms, &look);
    }
}

/// Whether an expression is true or false.
fn truth(node: &syn::ExprBinary) -> bool {
    use syn::BinOp::{And, Eq, Ge, Gt, Le, Lt, Ne, Or};
    matches!(node.op, And(_) | Eq(_) | Ge(_) | Gt(_) | Le(_) | Lt(_) | Ne(_) | Or(_))
}

/// Whether an expression may be worked out twice without harm.
fn pure(node: &syn::Expr) -> bool {
    use syn::Expr;
    match node {
        Expr::Path(_) | Expr::Lit(_) => true,
        Expr::Binary(e) => pure(&e.left) && pure(&e.right),
        Expr::Unary(e) => pure(&e.expr),
        Expr::Paren(e) => pure(&e.expr),
        Expr::Field(e) => pure(&e.base),
        Expr::Cast(e) => pure(&e.expr),
        Expr::Reference(e) => e.mutability.is_none() && pure(&e.expr),
        Expr::Index(e) => pure(&e.expr) && pure(&e.index),
        Expr::MethodCall(e) => {
            const CALM: [&str; 12] = [
                "abs",
                "min",
                "max",
                "len",
                "is_empty",
                "get",
                "is_finite",
                "is_nan",
                "sqrt",
                "hypot",
                "powi",
                "signum",
            ];
            CALM.contains(&e.method.to_string().as_str()) && pure(&e.receiver) && e.args.iter().all(pure)
        }
        _ => false,
    }
}

/// Whether an operator assigns.
fn assigns(op: &syn::BinOp) -> bool {
    use syn::BinOp as B;
    matches!(
        op,
        B::AddAssign(_)
            | B::SubAssign(_)
            | B::MulAssign(_)
            | B::DivAssign(_)
            | B::RemAssign(_)
            | B::BitAndAssign(_)
            | B::BitOrAssign(_)
            | B::BitXorAssign(_)
            | B::ShlAssign(_)
            | B::ShrAssign(_)
    )
}

impl<'a, 'ast: 'a> Visit<'ast> for Weaver<'a> {
    fn visit_block(&mut self, block: &'ast syn::Block) {
        if let Some(first) = block.stmts.first() {
            let start = self.range(first).start;
            let end = block.stmts.last().map_or(start, |last| self.range(last).end);
            for (number, change) in self.changes(start, Genre::FnValue) {
                let end_wanted = change.span.end.offset(self.text);
                let value = &change.replacement;
                if self.fixed > 0 || end != end_wanted || self.switched.contains(number) {
                    continue;
                }
                if let Some(kind) = value.strip_prefix("::std::iter::") {
                    self.iterator(block, *number, kind);
                    continue;
                }
                let inside =
                    marked(*number, &format!("if crate::mutant::is({number}) {{ return {value}; }}"));
                self.switched.push(*number);
                self.wraps.push(Wrap {
                    range: start..end,
                    before: format!("/*[{number}*/{inside} "),
                    after: "/*]*/".into(),
                });
            }
        }
        visit::visit_block(self, block);
    }

    fn visit_expr_binary(&mut self, node: &'ast syn::ExprBinary) {
        let operator = self.range(&node.op);
        if assigns(&node.op) {
            let range = self.range(node);
            let text = self.text;
            let (left, right) = (&text[range.start..operator.start], &text[operator.end..range.end]);
            let arm = |c: &Change| format!("{left}{}{right}", c.replacement);
            self.replaced(range, operator.start, Genre::BinaryOperator, arm);
        } else if !self.above.contains(&operator.start) {
            self.binary(node);
        }
        visit::visit_expr_binary(self, node);
    }

    fn visit_expr_unary(&mut self, node: &'ast syn::ExprUnary) {
        let range = self.range(node);
        let inner = self.range(&*node.expr);
        let without = self.text[inner].to_owned();
        self.replaced(range.clone(), range.start, Genre::UnaryOperator, |_| without.clone());
        visit::visit_expr_unary(self, node);
    }

    fn visit_arm(&mut self, arm: &'ast syn::Arm) {
        if let Some((_, guard)) = &arm.guard {
            let range = self.range(&**guard);
            self.replaced(range.clone(), range.start, Genre::MatchArmGuard, |c| c.replacement.clone());
        }
        for (number, _) in self.changes(self.range(arm).start, Genre::MatchArm) {
            if self.fixed > 0 {
                continue;
            }
            let off = marked(*number, &format!("!crate::mutant::is({number})"));
            self.switched.push(*number);
            let wrap = match &arm.guard {
                Some((_, guard)) => Wrap {
                    range: self.range(&**guard),
                    before: format!("/*[{number}*/({off} && ("),
                    after: "))/*]*/".into(),
                },
                None => {
                    let end = self.range(&arm.pat).end;
                    Wrap {
                        range: end..end,
                        before: format!(" /*[{number}*/if {off}/*]*/"),
                        after: String::new(),
                    }
                }
            };
            self.wraps.push(wrap);
        }
        visit::visit_arm(self, arm);
    }

    fn visit_expr_struct(&mut self, node: &'ast syn::ExprStruct) {
        if let Some(base) = &node.rest {
            let base = self.text[self.range(&**base)].to_owned();
            let name = self.text[self.range(&node.path)].to_owned();
            let base = if base == "Default::default()" { format!("{name}::default()") } else { base };
            for field in &node.fields {
                if field.colon_token.is_some() {
                    let (at, member) = (self.range(field).start, &self.text[self.range(&field.member)]);
                    let of_base = |_: &Change| format!("({base}).{member}");
                    self.replaced(self.range(&field.expr), at, Genre::StructField, of_base);
                }
            }
        }
        visit::visit_expr_struct(self, node);
    }

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        let fixed = self.fixed(&item.sig);
        self.within(fixed, |w| visit::visit_item_fn(w, item));
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        let fixed = self.fixed(&item.sig);
        self.within(fixed, |w| visit::visit_impl_item_fn(w, item));
    }

    fn visit_item_const(&mut self, item: &'ast syn::ItemConst) {
        self.within(1, |w| visit::visit_item_const(w, item));
    }

    fn visit_impl_item_const(&mut self, item: &'ast syn::ImplItemConst) {
        self.within(1, |w| visit::visit_impl_item_const(w, item));
    }

    fn visit_item_static(&mut self, item: &'ast syn::ItemStatic) {
        self.within(1, |w| visit::visit_item_static(w, item));
    }

    fn visit_expr_repeat(&mut self, node: &'ast syn::ExprRepeat) {
        self.visit_expr(&node.expr);
        self.within(1, |w| w.visit_expr(&node.len));
    }

    fn visit_type_array(&mut self, node: &'ast syn::TypeArray) {
        self.within(1, |w| visit::visit_type_array(w, node));
    }

    fn visit_pat(&mut self, node: &'ast syn::Pat) {
        self.within(1, |w| visit::visit_pat(w, node));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::list::{Place, Span};

    /// A change of the first place where `what` stands in the text.
    fn change(text: &str, what: &str, genre: Genre, replacement: &str) -> Change {
        let at = text.find(what).expect("it stands there");
        let line_start = text[..at].rfind('\n').map_or(0, |n| n + 1);
        let place = |offset: usize| Place {
            line: text[..offset].matches('\n').count() + 1,
            column: text[line_start..offset].chars().count() + 1,
        };
        Change {
            name: format!("{what} to {replacement}"),
            file: String::new(),
            genre,
            replacement: replacement.into(),
            span: Span { start: place(at), end: place(at + what.len()) },
        }
    }

    fn woven(text: &str, changes: Vec<Change>) -> Woven {
        let numbered: Vec<_> = changes.into_iter().enumerate().map(|(k, c)| (k + 2, c)).collect();
        let woven = weave(text, &numbered, &BTreeSet::new(), &BTreeSet::new()).expect("it is Rust");
        syn::parse_file(&woven.text).expect("what comes out is Rust");
        woven
    }

    /// Without the marks, and with single spaces.
    fn plain(text: &str) -> String {
        let mut out = String::new();
        let mut rest = text;
        while let Some(at) = rest.find("/*") {
            out += &rest[..at];
            rest = &rest[at..][rest[at..].find("*/").expect("it ends") + 2..];
        }
        (out + rest).split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_changed_operator_binds_as_it_would_in_the_file() {
        let text = "fn f(a: f64, b: f64, c: f64) -> f64 { a - b * c }";
        let woven = woven(
            text,
            vec![
                change(text, "*", Genre::BinaryOperator, "+"),
                change(text, "- b", Genre::BinaryOperator, "/"),
            ],
        );
        assert_eq!(woven.switched, [2, 3]);
        // Not a - (b + c): the text is the file's with one sign changed.
        assert_eq!(
            plain(&woven.text),
            "fn f(a: f64, b: f64, c: f64) -> f64 { (if crate::mutant::is(2) { a - b + c } else \
             if crate::mutant::is(3) { a / b * c } else { a - b * c }) }"
        );
    }

    #[test]
    fn switches_nest_in_what_is_unchanged_only() {
        let text = "fn f(a: f64) -> f64 { -(a + 1.0) }";
        let woven = woven(
            text,
            vec![change(text, "-(", Genre::UnaryOperator, ""), change(text, "+", Genre::BinaryOperator, "-")],
        );
        assert_eq!(
            plain(&woven.text),
            "fn f(a: f64) -> f64 { (if crate::mutant::is(2) { (a + 1.0) } else \
             { -((if crate::mutant::is(3) { a - 1.0 } else { a + 1.0 })) }) }"
        );
    }

    #[test]
    fn functions_guards_and_arms() {
        let text = "fn f(a: i32) -> i32 {\n    match a { 1 => 2, n if n > 3 => 4, _ => 5 }\n}";
        let woven = woven(
            text,
            vec![
                change(text, "match a { 1 => 2, n if n > 3 => 4, _ => 5 }", Genre::FnValue, "7"),
                change(text, "1 => 2", Genre::MatchArm, ""),
                change(text, "n > 3", Genre::MatchArmGuard, "false"),
            ],
        );
        assert_eq!(
            plain(&woven.text),
            "fn f(a: i32) -> i32 { if crate::mutant::is(2) { return 7; } match a { 1 if !crate::mutant::is(3) => 2, \
             n if (if crate::mutant::is(4) { false } else { n > 3 }) => 4, _ => 5 } }"
        );
    }

    #[test]
    fn what_gives_an_iterator_gives_nothing_or_one_item() {
        let text = "fn f(a: &[i32]) -> impl Iterator<Item = i32> {\n    a.iter().copied()\n}";
        let whole = "a.iter().copied()";
        let woven = woven(
            text,
            vec![
                change(text, whole, Genre::FnValue, "::std::iter::empty()"),
                change(text, whole, Genre::FnValue, "::std::iter::once(1)"),
            ],
        );
        assert_eq!(woven.switched, [2, 3]);
        assert_eq!(
            plain(&woven.text),
            "fn f(a: &[i32]) -> impl Iterator<Item = i32> { ((a.iter().copied())\
             .take(if crate::mutant::is(3) { 0 } else { usize::MAX })\
             .chain(if crate::mutant::on(3) { Some(1) } else { None }))\
             .take(if crate::mutant::is(2) { 0 } else { usize::MAX }) }"
        );
    }

    #[test]
    fn constants_take_no_switch_and_nonsense_is_named() {
        let text = "const A: f64 = 1.0 / 2.0;\nfn f(a: usize, b: i64) -> bool { a as i64 > b }";
        let woven = woven(
            text,
            vec![
                change(text, "/", Genre::BinaryOperator, "*"),
                change(text, "> b }", Genre::BinaryOperator, "@"),
            ],
        );
        assert_eq!((woven.switched, woven.nonsense), (vec![], vec![3]));
        assert_eq!(plain(&woven.text), plain(text));
    }
}
