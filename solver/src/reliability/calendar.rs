//! Days of a test as dates: Gregorian calendar, no clock, no time zone.

use super::StatError;
use std::fmt;

/// A day, counted from 1970-01-01.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day(i64);

/// Days of four hundred years, after which the calendar repeats.
const ERA_DAYS: i64 = 146_097;
const WEEK: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

impl Day {
    /// A date such as 2027-01-31 (ISO 8601).
    ///
    /// # Errors
    /// No such day, or a year outside 1900 to 2999.
    pub fn of(text: &str) -> Result<Self, StatError> {
        let wrong = || StatError::new(format!("'{text}' is no date"), "write it as 2027-01-31");
        let parts: Vec<&str> = text.trim().split('-').collect();
        let [year, month, day] = parts[..] else { return Err(wrong()) };
        if [year.len(), month.len(), day.len()] != [4, 2, 2] {
            return Err(wrong());
        }
        let number = |s: &str| s.parse::<u32>().map(i64::from).map_err(|_| wrong());
        let (year, month, day) = (number(year)?, number(month)?, number(day)?);
        let found = Self::from_civil([year, month, day]);
        // A day that does not exist comes back as another.
        let exists = (1900..3000).contains(&year) && found.civil() == [year, month, day];
        if exists { Ok(found) } else { Err(wrong()) }
    }

    /// The day so many days on; part of a day counts for the day it falls in.
    #[must_use]
    pub fn after(self, days: f64) -> Self {
        // Ten thousand years are enough for any test.
        let whole = days.floor().clamp(0.0, 3.65e6);
        #[expect(clippy::cast_possible_truncation, reason = "clamped just above")]
        let whole = whole as i64;
        Self(self.0 + whole)
    }

    /// Years that begin in March end with the leap day.
    fn from_civil([year, month, day]: [i64; 3]) -> Self {
        let year = if month <= 2 { year - 1 } else { year };
        let era = year.div_euclid(400);
        let in_era = year.rem_euclid(400);
        let march = (month + 9) % 12;
        let in_year = (153 * march + 2) / 5 + day - 1;
        let in_days = in_era * 365 + in_era / 4 - in_era / 100 + in_year;
        // 1970-01-01 is day 719468 of this count.
        Self(era * ERA_DAYS + in_days - 719_468)
    }

    fn civil(self) -> [i64; 3] {
        let count = self.0 + 719_468;
        let era = count.div_euclid(ERA_DAYS);
        let in_days = count.rem_euclid(ERA_DAYS);
        let in_era = (in_days - in_days / 1460 + in_days / 36_524 - in_days / 146_096) / 365;
        let in_year = in_days - (365 * in_era + in_era / 4 - in_era / 100);
        let march = (5 * in_year + 2) / 153;
        let day = in_year - (153 * march + 2) / 5 + 1;
        let month = if march < 10 { march + 3 } else { march - 9 };
        [era * 400 + in_era + i64::from(month <= 2), month, day]
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [year, month, day] = self.civil();
        // 1970-01-01 was a Thursday.
        let week = usize::try_from((self.0 + 3).rem_euclid(7)).unwrap_or(0);
        write!(f, "{} {year:04}-{month:02}-{day:02}", WEEK[week])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Known days: a leap day, turns of years, a century that leaps and one that does not; weekdays from any almanac.
    #[test]
    fn dates_are_those_of_the_almanac() {
        let at = |text: &str, days: f64| Day::of(text).expect("a date").after(days).to_string();
        assert_eq!(at("1970-01-01", 0.0), "Thu 1970-01-01", "the first");
        assert_eq!(at("2024-02-28", 1.0), "Thu 2024-02-29", "a leap day");
        assert_eq!(at("2023-02-28", 1.0), "Wed 2023-03-01", "no leap day");
        assert_eq!(at("2000-02-29", 0.0), "Tue 2000-02-29", "a century that leaps");
        assert_eq!(at("1999-12-31", 1.9), "Sat 2000-01-01", "part of a day");
        assert_eq!(at("2026-12-01", 36.2), "Wed 2027-01-06", "over the turn of the year");
        for k in 0..200_000 {
            let day = Day(k - 25_000);
            assert_eq!(Day::from_civil(day.civil()), day, "there and back");
        }
    }

    #[test]
    fn days_that_do_not_exist_are_refused() {
        for text in
            ["2023-02-29", "2026-13-01", "2026-00-10", "2026-1-1", "1.2.2026", "", "2026-04-31", "1800-01-01"]
        {
            let told = Day::of(text).expect_err("no date").to_string();
            assert!(told.contains("is no date") && told.contains("2027-01-31"), "{told}");
        }
    }
}
