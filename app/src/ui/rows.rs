//! Long lists, and chips on lanes, that are written over, not made anew.
//!
//! An edit changes what stands in hundreds of rows: whatever comes after it has another number. Rows made
//! anew as views of their own each leave something behind for good: the reactive library (reactive_graph
//! 0.2.16) keeps the room of every owner that a list ever had below it, and the subscription of every effect
//! that listened to a signal of the page. So these lists have one effect each, which keeps the elements and
//! writes into them what has changed, and one listener that hears for all.

use leptos::html;
use leptos::prelude::*;
use std::ops::Range;
use wasm_bindgen::JsCast;
use web_sys::Element;

/// What stands in a row.
pub trait Row: Clone + PartialEq + 'static {
    /// Its number, where it has one: `data-row` of the element, and what decides whether it is meant.
    fn number(&self) -> Option<usize> {
        None
    }

    /// Writes it into its element, an empty one where there is nothing `before`.
    fn write(&self, into: &Element, before: Option<&Self>);
}

/// Keeps a list's rows as `rows` says, and says of each whether its number is among those that are `meant`,
/// in an ARIA attribute.
pub fn keep<R: Row>(
    list: NodeRef<html::Ul>,
    rows: impl Fn() -> Vec<R> + 'static,
    attribute: &'static str,
    meant: Memo<Range<usize>>,
) {
    Effect::new(move |before: Option<Vec<(Element, R)>>| {
        let (rows, meant) = (rows(), meant.get());
        let mut kept = before.unwrap_or_default();
        let Some(list) = list.get() else { return kept };
        write_over(&mut kept, &list, "li", rows);
        for (element, row) in &kept {
            match row.number() {
                Some(number) => {
                    set(element, "data-row", &number.to_string());
                    set(element, attribute, if meant.contains(&number) { "true" } else { "false" });
                }
                None => {
                    // Fails for no attribute that has a name.
                    let _ = element.remove_attribute("data-row");
                    let _ = element.remove_attribute(attribute);
                }
            }
        }
        kept
    });
}

/// Makes elements of this name below another say what the rows say, one each.
fn write_over<R: Row>(kept: &mut Vec<(Element, R)>, below: &Element, name: &str, rows: Vec<R>) {
    for (element, _) in kept.drain(rows.len().min(kept.len())..) {
        element.remove();
    }
    for (i, row) in rows.into_iter().enumerate() {
        match kept.get_mut(i) {
            Some((_, old)) if *old == row => {}
            Some((element, old)) => {
                row.write(element, Some(old));
                *old = row;
            }
            None => {
                let Some(element) = add(below, name) else { break };
                row.write(&element, None);
                kept.push((element, row));
            }
        }
    }
}

/// What stands at a moment of a lane, as long as it lasts.
#[derive(Clone, Debug, PartialEq)]
pub struct Chip<T> {
    /// Its place among its like: `data-place` of the element.
    pub place: usize,
    /// What it is.
    pub what: T,
    /// Where on the lane it begins, and how wide it is, px.
    pub at: (f64, f64),
    /// Whether it is the chosen one, where one can be.
    pub chosen: Option<bool>,
}

/// What a chip says.
pub trait Said: Clone + PartialEq + 'static {
    /// Writes it into its element; what an earlier one wrote is there to be written over.
    fn say(&self, place: usize, into: &Element);
}

impl<T: Said> Row for Chip<T> {
    fn write(&self, into: &Element, before: Option<&Self>) {
        if before.is_none_or(|b| (b.place, &b.what) != (self.place, &self.what)) {
            set(into, "data-place", &self.place.to_string());
            self.what.say(self.place, into);
        }
        if before.is_none_or(|b| b.at != self.at) {
            // Not as an attribute, which the page's content security policy forbids.
            if let Some(style) = into.dyn_ref::<web_sys::HtmlElement>().map(web_sys::HtmlElement::style) {
                // Fails for no property that there is.
                let _ = style.set_property("left", &format!("{}px", self.at.0));
                let _ = style.set_property("width", &format!("{}px", self.at.1));
            }
        }
        if let (Some(chosen), Some(button)) = (self.chosen, into.first_element_child()) {
            set(&button, "aria-pressed", if chosen { "true" } else { "false" });
        }
    }
}

/// Keeps a lane's chips as `chips` says.
pub fn keep_chips<T: Said>(lane: NodeRef<html::Div>, chips: impl Fn() -> Vec<Chip<T>> + 'static) {
    Effect::new(move |before: Option<Vec<(Element, Chip<T>)>>| {
        let chips = chips();
        let mut kept = before.unwrap_or_default();
        if let Some(lane) = lane.get() {
            write_over(&mut kept, &lane, "div", chips);
        }
        kept
    });
}

/// The place of the chip in which something happens.
pub fn place_of(event: &web_sys::Event) -> Option<usize> {
    let element = event.target()?.dyn_into::<Element>().ok()?;
    element.closest("[data-place]").ok()??.get_attribute("data-place")?.parse().ok()
}

/// An element's child of this number; made, and those before it, where it is not there yet.
pub fn part(of: &Element, number: u32, name: &str) -> Option<Element> {
    while of.child_element_count() <= number {
        add(of, name)?;
    }
    let mut child = of.first_element_child()?;
    for _ in 0..number {
        child = child.next_element_sibling()?;
    }
    Some(child)
}

/// Sets an attribute, where it is not so already.
pub fn set(element: &Element, name: &str, value: &str) {
    if element.get_attribute(name).as_deref() != Some(value) {
        // Fails for no attribute that has a name.
        let _ = element.set_attribute(name, value);
    }
}

/// A new element at the end of another.
pub fn add(to: &Element, name: &str) -> Option<Element> {
    let element = document().create_element(name).ok()?;
    to.append_child(&element).ok()?;
    Some(element)
}
