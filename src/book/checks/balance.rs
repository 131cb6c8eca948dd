//! Checks of the balance of sights, at a setup and summed over a section.
//!
//! What a tilted line of sight leaves in a setup is `c * (Sb - Sf)`, in a section `c * sum (Sb - Sf)`.

use super::super::finding::{Amount, Finding, FindingId, Place, Priority};
use super::{At, compare, measured, plain};
use crate::units::Length;

/// `balance`: back less fore sight length of the setup.
pub(super) fn balance(at: &At<'_>, found: &mut Vec<Finding>) {
    let (Some(limit), Some(imbalance)) = (&at.class().setup_imbalance_max, at.setup.reduced.imbalance) else { return };
    let Some(stands) = compare(imbalance, limit.value) else { return };
    let (say, basis) = (at.wording(), at.basis(limit));
    let todo = if at.setup.fore_named {
        let staff = if imbalance > Length::ZERO { "back" } else { "fore" };
        format!(
            "move the instrument {} towards the {staff} staff and begin the setup anew: break",
            say.sight(imbalance.abs().divide(2))
        )
    } else {
        let way = if imbalance > Length::ZERO { "farther out" } else { "nearer" };
        format!("put the forward staff {} {way} and shoot it again", say.sight(imbalance.abs()))
    };
    let base = plain(
        FindingId::Balance,
        at.here(),
        Priority::Hold,
        format!("sights out of balance by {} (limit {}, {basis})", say.sight(imbalance.abs()), say.sight(limit.value)),
        todo,
    );
    found.push(measured(base, stands, Amount::Sight(imbalance), Amount::Sight(limit.value), basis));
}

/// `balance-sum`: the running sum over the section.
pub(super) fn balance_sum(at: &At<'_>, found: &mut Vec<Finding>) {
    let Some(limit) = &at.class().sum_imbalance_max else { return };
    let sum = at.setup.imbalance_sum();
    let Some(stands) = compare(sum, limit.value) else { return };
    let (say, basis) = (at.wording(), at.basis(limit));
    let longer = if sum > Length::ZERO { "foresights" } else { "backsights" };
    let from = at.setup.before.section_from;
    let base = plain(
        FindingId::BalanceSum,
        Place::Section { run: at.run.number, from },
        Priority::Hold,
        format!(
            "sum of the sight differences {} since setup {from} (limit {}, {basis})",
            say.signed_sight(sum),
            say.sight(limit.value)
        ),
        format!("make the next {longer} longer, by {} in all", say.sight(sum.abs())),
    );
    found.push(measured(base, stands, Amount::Sight(sum), Amount::Sight(limit.value), basis));
}
