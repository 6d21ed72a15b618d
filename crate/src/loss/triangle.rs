//! How far the improved generalised method is from measured triangles of flux.
//!
//! The figures are those of one ferrite at 25 °C, 2279 measured triangles of 54 to 554 mT
//! peak to peak without bias and without rest, with the constants fitted to symmetric
//! triangles of the same material (Guillod et al., 2023, doi 10.1109/APEC43580.2023.10131348;
//! data: doi 10.5281/zenodo.7368936). The method sees the flux's duty alone; what it leaves out shows
//! as a difference that depends on frequency too.

use crate::quantity::{Dimensioned as _, Frequency, Ratio, Time, number, print};

/// Edges of the ranges of frequency, in hertz; the highest measured was 446.42 kHz.
const FREQUENCIES: [f64; 4] = [50e3, 100e3, 200e3, 446.5e3];

/// For flux duties 0.1 to 0.5 and each range of frequency: mean, least and greatest of
/// method over measurement less one, in hundredths; none where nothing valid was measured.
type Row = [Option<[f64; 3]>; 3];
const DIFFERENCES: [Row; 5] = [
    [
        Some([-22.97, -27.87, -13.91]),
        Some([-28.38, -32.04, -23.14]),
        None,
    ],
    [
        Some([-9.75, -19.06, 1.57]),
        Some([-10.51, -19.46, 2.73]),
        Some([-21.28, -25.12, -15.59]),
    ],
    [
        Some([-6.24, -17.55, 6.02]),
        Some([0.59, -5.98, 12.66]),
        Some([-13.65, -26.32, 5.74]),
    ],
    [
        Some([-4.85, -16.18, 8.78]),
        Some([5.16, -1.76, 18.36]),
        Some([-7.35, -23.50, 14.22]),
    ],
    [
        Some([-4.63, -16.20, 9.71]),
        Some([6.73, -1.48, 22.03]),
        Some([-5.03, -21.11, 17.29]),
    ],
];

/// A flux that rises and falls in straight lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flux {
    /// Time of the rise.
    pub rise: Time,
    /// Time of the fall.
    pub fall: Time,
}

/// The method's loss over the measured one, less one, for fluxes like this one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// Mean.
    pub mean: Ratio,
    /// Minimum and maximum.
    pub range: [Ratio; 2],
}

impl Flux {
    /// Time of the rise over that of rise and fall; the flux's rest does not count.
    ///
    /// ```
    /// use slewbook::{loss::Flux, quantity::unit::us};
    /// let flux = Flux { rise: 1.0 * us, fall: 3.0 * us };
    /// assert_eq!(flux.duty(), 0.25.into());
    /// ```
    #[must_use]
    pub fn duty(&self) -> Ratio {
        self.rise / (self.rise + self.fall)
    }

    /// Frequency of a triangle of this rise and fall without a rest.
    #[must_use]
    pub fn frequency(&self) -> Frequency {
        1.0 / (self.rise + self.fall)
    }

    /// How far the method was from measurement for fluxes of this duty, to the nearest
    /// tenth and in either direction, and in this range of frequency. None outside the
    /// measurements: duties below 0.05, frequencies outside 50 to 446 kHz, and those
    /// combinations that were not measured.
    ///
    /// # Source
    /// Guillod et al., 2023, doi 10.1109/APEC43580.2023.10131348.
    ///
    /// ```
    /// use slewbook::{loss::Flux, quantity::unit::us};
    /// let flux = Flux { rise: 1.2 * us, fall: 10.0 * us };
    /// assert_eq!(flux.difference().unwrap().mean, (-0.2297).into());
    /// let fast = Flux { rise: 0.2 * us, fall: 1.6 * us };
    /// assert_eq!(fast.difference(), None);
    /// ```
    #[must_use]
    pub fn difference(&self) -> Option<Difference> {
        let duty = self.duty().coherent();
        let tenths = 10.0 * duty.min(1.0 - duty);
        let row = DIFFERENCES
            .iter()
            .zip(1u32..)
            .find(|(_, tenth)| (tenths - f64::from(*tenth)).abs() <= 0.5)?
            .0;
        let frequency = self.frequency().coherent();
        let ranges = FREQUENCIES.windows(2);
        let (_, found) = ranges
            .zip(row)
            .find(|(range, _)| (range[0]..=range[1]).contains(&frequency))?;
        let [mean, least, greatest] =
            (*found)?.map(|percent| Ratio::from_coherent(percent / 100.0));
        Some(Difference {
            mean,
            range: [least, greatest],
        })
    }

    /// The same in a phrase.
    #[must_use]
    pub fn words(&self) -> String {
        let percent = |ratio: Ratio| format!("{} %", number(100.0 * ratio.coherent(), 3));
        let flux = format!(
            "flux duty {}, {}",
            number(self.duty().coherent(), 3),
            print(Frequency::from_coherent(crate::quantity::significant(
                self.frequency().coherent(),
                3
            )))
        );
        match self.difference() {
            Some(Difference {
                mean,
                range: [least, greatest],
            }) => format!(
                "{flux}: the method differed from measurement there by {} ({} to {}), on one ferrite at \
                 25 °C, without bias or rest",
                percent(mean),
                percent(least),
                percent(greatest)
            ),
            None => format!("{flux}: no measurement of the method there"),
        }
    }
}
