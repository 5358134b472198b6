//! What the head asks of its supply.

use super::{Rig, Supply};
use crate::units::{Amps, Watts};

/// Currents of all servos together, and what a linear regulator would turn into heat.
///
/// Wire, fuse and supply are sized for the stall current by a qualified person; the budget is only
/// what the planner keeps to while nothing is blocked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerNeeds {
    /// All at rest.
    pub idle: Amps,
    /// All at full loaded speed at once.
    pub moving: Amps,
    /// All blocked.
    pub stall: Amps,
    /// Heat in a linear regulator at the budget.
    pub heat_at_budget: Watts,
    /// Heat in a linear regulator with every servo blocked.
    pub heat_at_stall: Watts,
}

impl Supply {
    /// Heat in a linear regulator: (Vin − Vout) · I, its own ground current neglected. A switching
    /// regulator loses far less; its sheet says how much.
    ///
    /// ```
    /// use lipwright_core::rig::Supply;
    /// use lipwright_core::units::{Amps, Volts};
    ///
    /// let supply = Supply { input: Volts::new(12.0), rail: Volts::new(5.0), budget: Amps::new(1.0) };
    /// assert_eq!(supply.linear_heat(Amps::new(2.0)).value(), 14.0);
    /// ```
    #[must_use]
    pub fn linear_heat(&self, current: Amps) -> Watts {
        Watts::new((self.input - self.rail).value() * current.value())
    }
}

impl Rig {
    /// What the head asks of its supply.
    #[must_use]
    pub fn power_needs(&self) -> PowerNeeds {
        let sum = |of: fn(&super::Servo) -> Amps| {
            Amps::new(self.servos().iter().map(|s| of(s).value()).sum::<f64>())
        };
        let (idle, moving, stall) =
            (sum(|s| s.idle_current), sum(|s| s.idle_current + s.moving_current), sum(|s| s.stall_current));
        let supply = self.supply();
        PowerNeeds {
            idle,
            moving,
            stall,
            heat_at_budget: supply.linear_heat(supply.budget),
            heat_at_stall: supply.linear_heat(stall),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Volts;

    /// (Vin − Vout) · I: 7.4 V to 6 V with four 9 g servos stalled at 0.65 A is 2.6 A and 3.64 W.
    #[test]
    fn regulator_heat() {
        let supply = Supply { input: Volts::new(7.4), rail: Volts::new(6.0), budget: Amps::new(3.0) };
        assert!((supply.linear_heat(Amps::new(4.0 * 0.65)).value() - 3.64).abs() < 1e-9);
    }

    #[test]
    fn the_budget_binds_before_everything_moves_at_once() {
        let rig = Rig::harbourmaster();
        let needs = rig.power_needs();
        assert!(
            needs.idle < rig.supply().budget
                && rig.supply().budget < needs.moving
                && needs.moving < needs.stall
        );
    }
}
