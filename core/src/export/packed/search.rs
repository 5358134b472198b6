//! Finds the corrections of one servo that cost the fewest bits and stay where they are allowed.
//!
//! A path of whole steps is sought inside a tube around the plan: the pulse of every frame within
//! its bounds, the change from frame to frame within the servo's speed, the change of that within
//! its acceleration. Many paths fit; a beam search over the coder's own costs keeps the cheapest.

use super::model::{Cost, Model, Past};

/// Bounds of one servo's path. Pulses in tenths of a microsecond.
#[derive(Clone, Debug)]
pub(super) struct Tube {
    /// First pulse, the zero of the path.
    pub(super) start: i32,
    /// Least and greatest pulse at every frame.
    pub(super) bounds: Vec<(i32, i32)>,
    /// Most rise and fall from frame to frame, most change of that.
    pub(super) rise: i32,
    pub(super) fall: i32,
    pub(super) bend: i32,
}

/// Paths kept per frame.
const BEAM: usize = 200;

#[derive(Clone, Copy)]
struct Node {
    cost: f32,
    at: i32,
    past: Past,
    parent: u32,
}

/// What costs depend on besides the servo's own past.
pub(super) struct Company<'a> {
    /// How busy the servos before it are, by frame.
    pub(super) others: &'a [u8],
    /// Corrections of its twin, turned its way round.
    pub(super) twin: Option<&'a [i32]>,
}

/// The cheapest path, as offsets from the start in steps, and its cost in bits; none where no path
/// of this step fits.
pub(super) fn cheapest(
    tube: &Tube,
    step: i32,
    model: &Model,
    company: &Company<'_>,
) -> Option<(Vec<i32>, f32)> {
    let (rise, fall, bend) = (tube.rise / step, tube.fall / step, tube.bend / step);
    let mut layers: Vec<Vec<Node>> = vec![vec![Node { cost: 0.0, at: 0, past: Past::default(), parent: 0 }]];
    let mut costs = Costs { model: model.clone() };
    for (t, (low, high)) in tube.bounds.iter().enumerate().skip(1) {
        let low = (low - tube.start).div_euclid(step) + i32::from((low - tube.start).rem_euclid(step) != 0);
        let high = (high - tube.start).div_euclid(step);
        let mut next: Vec<Node> = Vec::new();
        for (parent, node) in layers[t - 1].iter().enumerate() {
            let straight = node.at + node.past.speed;
            let from = low.max(straight - bend).max(node.at - fall);
            let to = high.min(straight + bend).min(node.at + rise);
            for at in from..=to {
                let k = at - straight;
                let twin = company.twin.map(|c| c[t]);
                let cost = node.cost + costs.of(&node.past, company.others[t], k, twin);
                next.push(Node { cost, at, past: node.past.after(k), parent: parent as u32 });
            }
        }
        prune(&mut next);
        if next.is_empty() {
            return None;
        }
        layers.push(next);
    }
    let mut last = layers.last()?.iter().enumerate().min_by(|a, b| a.1.cost.total_cmp(&b.1.cost))?.0;
    let cost = layers.last()?[last].cost;
    let mut path = Vec::with_capacity(layers.len());
    for layer in layers.iter().rev() {
        path.push(layer[last].at);
        last = layer[last].parent as usize;
    }
    path.reverse();
    Some((path, cost))
}

fn prune(nodes: &mut Vec<Node>) {
    let key = |n: &Node| (n.at, n.past.speed, n.past.last, n.past.before, n.past.quiet);
    nodes.sort_unstable_by(|a, b| key(a).cmp(&key(b)).then(a.cost.total_cmp(&b.cost)));
    nodes.dedup_by(|b, a| key(a) == key(b));
    if nodes.len() > BEAM {
        nodes.select_nth_unstable_by(BEAM - 1, |a, b| a.cost.total_cmp(&b.cost));
        nodes.truncate(BEAM);
    }
}

/// What corrections cost, by a model that stands still.
struct Costs {
    model: Model,
}

/// Cost of doing as the twin does, and of saying that one does not; near what they come to.
const AS_TWIN: f32 = 0.02;
const UNLIKE_TWIN: f32 = 6.0;

impl Costs {
    fn of(&mut self, past: &Past, other: u8, k: i32, twin: Option<i32>) -> f32 {
        let mut cost = Cost(0.0);
        match twin {
            Some(twin) if twin == k => return AS_TWIN,
            Some(_) => cost.0 = UNLIKE_TWIN,
            None => {}
        }
        self.model.correction(&mut cost, past, other.into(), k);
        cost.0
    }
}
