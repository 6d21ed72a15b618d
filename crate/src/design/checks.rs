//! The requirements of a design: judged over the whole box of its specification.

use super::requirement::Requirement;
use crate::cycle::CycleError;
use crate::in_force::InForce;
use crate::stage::Specification;
use crate::verdict::{Judged, Space, judge};

/// The requirements with their verdicts, in the order in which they are shown, and how
/// many cells were searched for them.
pub(crate) fn all(
    specification: &Specification,
    in_force: &InForce,
) -> Result<(Vec<Requirement>, usize), CycleError> {
    let space = Space::of(
        specification,
        in_force.inductance.value,
        in_force.trip.value,
    )?;
    let Judged { judgements, cells } = judge(specification, &space)?;
    let charged = specification.starts_charged();
    let requirements = judgements.iter().map(|own| Requirement::new(own, charged));
    Ok((requirements.collect(), cells))
}
