//! Where the next staff should stand so that setup and section come back into balance.

use super::Book;
use super::finding::FindingId;
use super::reading::Role;
use crate::units::Length;

/// Share of the setup's limit that is used to bring the section's sum back: the rest is left for pacing.
const WORKING_SHARE: (i64, i64) = (1, 2);

/// Share of the setup's limit below which nobody need pace anything off.
const WORTH_SAYING: (i64, i64) = (1, 4);

/// Where the next staff should stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NextStaff {
    /// At this sight length.
    At {
        /// Which staff.
        role: Role,
        /// Best.
        best: Length,
        /// Shortest that keeps setup and section inside.
        from: Length,
        /// Longest.
        to: Length,
    },
    /// The next setup's foresight should be longer than its backsight by this; shorter if negative.
    ForeLonger(Length),
}

/// Where the next staff should stand; `None` without sight lengths or without a limit to keep.
pub fn next_staff(book: &Book) -> Option<NextStaff> {
    let run = book.runs().last()?;
    let class = &book.settings().class;
    let setup_limit = class.setup_imbalance_max.as_ref()?.value;
    let sum_limit = class.sum_imbalance_max.as_ref().map_or(setup_limit * 1000, |limit| limit.value);
    let sight_max = class.sight_max.as_ref().map_or(book.settings().instrument.sight_max, |limit| limit.value);
    let setup = run.setups.last()?;
    let working = setup_limit.share(WORKING_SHARE.0, WORKING_SHARE.1);
    let within = |length: Length, most: Length| length.max(-most).min(most);
    let reduced = &setup.reduced;
    let again = setup.findings.iter().any(|finding| {
        finding.over && matches!(finding.key.id, FindingId::Balance | FindingId::SightLong | FindingId::SightShort)
    });
    if (reduced.complete && !again) || run.ended {
        let lean = within(setup.imbalance_sum(), working);
        let worth_saying = setup_limit.share(WORTH_SAYING.0, WORTH_SAYING.1);
        return (lean.abs() > worth_saying && !run.ended).then_some(NextStaff::ForeLonger(lean));
    }
    let sum = setup.before.imbalance_sum;
    // With the foresight S_f still to come: |S_b - S_f| within the setup's limit, |sum + S_b - S_f| within the section's.
    let (role, standing, sign) = match (reduced.back_sight, reduced.fore_sight) {
        (Some(back), _) => (Role::Fore, back, 1),
        (None, Some(fore)) => (Role::Back, fore, -1),
        (None, None) => return None,
    };
    let best = standing + within(sum, working) * sign;
    let centre = standing + sum * sign;
    let from = (standing - setup_limit).max(centre - sum_limit).max(book.settings().instrument.sight_min);
    let to = (standing + setup_limit).min(centre + sum_limit).min(sight_max);
    (from <= to).then_some(NextStaff::At { role, best: best.max(from).min(to), from, to })
}
