//! Times that are written with colons or as dates → seconds. Plain numbers with a unit are read elsewhere.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};

/// How a time is written that is no plain number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum TimeFormat {
    /// `hh:mm:ss`, with or without decimals; a clock that passes midnight goes on.
    Hours,
    /// `mm:ss`, with or without decimals.
    Minutes,
    /// A date with its time of day, in an order that cannot be mistaken.
    DateTime,
    /// A date with its time of day by a pattern of `strptime`.
    Pattern(String),
}

impl TimeFormat {
    /// As the layout says it.
    ///
    /// # Errors
    /// If it is none of the words and no pattern.
    pub(crate) fn parse(text: &str) -> Result<Self, String> {
        match text.trim().to_lowercase().as_str() {
            "hh:mm:ss" | "h:mm:ss" => Ok(Self::Hours),
            "mm:ss" | "m:ss" => Ok(Self::Minutes),
            "date-time" | "iso 8601" | "iso8601" => Ok(Self::DateTime),
            // A pattern that cannot be filled with any moment is told now, not at the first row.
            pattern if pattern.contains('%') => match DateTime::constant(2026, 1, 13, 10, 20, 30, 0).strftime(text) {
                shown if pattern_reads(text, &shown.to_string()) => Ok(Self::Pattern(text.trim().to_owned())),
                _ => Err(format!("`{text}` holds no whole date and time of day, such as `%d/%m/%Y %H:%M:%S`")),
            },
            _ => Err(format!("`{text}` is none of `hh:mm:ss`, `mm:ss`, `date-time` and no pattern with `%`")),
        }
    }

    /// What one field must look like, for errors.
    pub(crate) fn example(&self) -> &str {
        match self {
            Self::Hours => "a time such as `00:01:02.5`",
            Self::Minutes => "a time such as `01:02.5`",
            Self::DateTime => "a date and time such as `2026-01-13T10:20:30` or `13.01.2026 10:20:30`",
            Self::Pattern(pattern) => pattern,
        }
    }
}

fn pattern_reads(pattern: &str, shown: &str) -> bool {
    DateTime::strptime(pattern, shown).is_ok()
}

/// Reads times one after the other.
#[derive(Debug, Clone)]
pub(crate) struct Clock {
    format: TimeFormat,
    /// Moment of the first stamp; stamps count from it.
    first: Option<Timestamp>,
    /// Whole days that a clock of the day has passed.
    days: f64,
    last: f64,
}

const DAY: f64 = 86_400.0;

impl Clock {
    pub(crate) fn new(format: TimeFormat) -> Self {
        Self { format, first: None, days: 0.0, last: f64::NAN }
    }

    pub(crate) fn format(&self) -> &TimeFormat {
        &self.format
    }

    /// Seconds; stamps count from the first one. None if the text is no such time.
    pub(crate) fn read(&mut self, text: &str) -> Option<f64> {
        let stamp = match &self.format {
            TimeFormat::Hours => return colons(text, 3).map(|seconds| self.past_midnight(seconds)),
            TimeFormat::Minutes => return colons(text, 2),
            TimeFormat::DateTime => date_time(text)?,
            TimeFormat::Pattern(pattern) => as_utc(DateTime::strptime(pattern, text).ok()?)?,
        };
        let since = stamp.duration_since(*self.first.get_or_insert(stamp));
        Some(since.as_secs_f64())
    }

    /// The moment of the first stamp as ISO 8601, local time unless the export tells its zone.
    pub(crate) fn started(&self) -> Option<String> {
        self.first.map(|first| first.strftime("%Y-%m-%dT%H:%M:%S").to_string())
    }

    /// How often midnight was passed.
    pub(crate) fn midnights(&self) -> u32 {
        (self.days / DAY) as u32
    }

    /// A clock that falls by more than half a day has passed midnight: no run goes back that far.
    fn past_midnight(&mut self, seconds: f64) -> f64 {
        if seconds < DAY && self.last - seconds > 0.5 * DAY {
            self.days += DAY;
        }
        self.last = seconds;
        seconds + self.days
    }
}

/// `hh:mm:ss` or `mm:ss` with decimals behind a point or a comma. Only the first part may exceed 59.
fn colons(text: &str, parts: usize) -> Option<f64> {
    let text = text.trim().replace(',', ".");
    let fields: Vec<&str> = text.split(':').collect();
    let (last, whole) = fields.split_last().filter(|_| fields.len() == parts)?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let mut total = 0.0;
    for (at, field) in whole.iter().enumerate() {
        let value: f64 = digits(field).then(|| field.parse().ok())??;
        if at > 0 && value >= 60.0 {
            return None;
        }
        total = (total + value) * 60.0;
    }
    let plain = last.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    let seconds: f64 = plain.then(|| last.parse().ok())??;
    (seconds < 60.0).then_some(total + seconds)
}

fn as_utc(local: DateTime) -> Option<Timestamp> {
    jiff::tz::TimeZone::UTC.to_timestamp(local).ok()
}

/// A date and time in ISO 8601, or with the day first and points between, which cannot be mistaken.
fn date_time(text: &str) -> Option<Timestamp> {
    if let Ok(exact) = text.parse::<Timestamp>() {
        return Some(exact);
    }
    // ISO 8601 allows a comma before the decimals.
    let pointed = text.replace(',', ".");
    if let Ok(local) = pointed.parse::<DateTime>() {
        return as_utc(local);
    }
    let forms = ["%d.%m.%Y %H:%M:%S%.f", "%d.%m.%Y %H:%M"];
    as_utc(forms.iter().find_map(|form| DateTime::strptime(form, &pointed).ok())?)
}

/// The start of a run as ISO 8601 from words of a preamble; dates that can be mistaken are not read.
pub(super) fn moment(text: &str) -> Option<String> {
    if let Ok(exact) = text.parse::<Timestamp>() {
        return Some(exact.to_string());
    }
    if let Ok(local) = text.parse::<DateTime>() {
        let midnight = local.time() == jiff::civil::Time::midnight();
        return Some(if midnight && !text.contains(':') { local.date().to_string() } else { local.to_string() });
    }
    let days_first = ["%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M"];
    let local = days_first.iter().find_map(|form| DateTime::strptime(form, text).ok());
    let day = || Date::strptime("%d.%m.%Y", text).ok().map(|d| d.to_string());
    local.map(|d| d.to_string()).or_else(day)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn read(format: &str, texts: &[&str]) -> Vec<Option<f64>> {
        let mut clock = Clock::new(TimeFormat::parse(format).unwrap());
        texts.iter().map(|text| clock.read(text)).collect()
    }

    #[test]
    fn colons_count_hours_and_minutes() {
        assert_eq!(read("hh:mm:ss", &["0:00:01.5", "100:00:00", "0:01:02,25"])[..2], [Some(1.5), Some(360_000.0)]);
        assert_eq!(read("mm:ss", &["75:02.5"]), [Some(4502.5)]);
        for wrong in ["1:60:00", "1:00:60", "1:00", "a:00:00", "1:00:-5", "1::5", "1:00:"] {
            assert_eq!(read("hh:mm:ss", &[wrong]), [None], "{wrong}");
        }
    }

    #[test]
    fn a_clock_goes_on_past_midnight() {
        assert_eq!(read("hh:mm:ss", &["23:59:59", "00:00:01", "00:00:02"]), [86_399.0, 86_401.0, 86_402.0].map(Some));
    }

    #[test]
    fn stamps_count_from_the_first() {
        let iso = ["2026-01-13T23:59:59.500", "2026-01-14 00:00:01,25", "2026-01-14T00:00:02Z"];
        assert_eq!(read("date-time", &iso), [0.0, 1.75, 2.5].map(Some));
        assert_eq!(read("date-time", &["13.01.2026 10:20:30", "13.01.2026 10:20:30.5"]), [0.0, 0.5].map(Some));
        assert_eq!(read("date-time", &["01/02/2026 10:20:30"]), [None]);
    }

    #[test]
    fn a_pattern_tells_day_from_month() {
        assert_eq!(read("%d/%m/%Y %H:%M:%S", &["01/02/2026 00:00:00", "02/02/2026 00:00:00"])[1], Some(86_400.0));
        assert_eq!(
            read("%m/%d/%Y %H:%M:%S%.f", &["01/02/2026 00:00:00", "02/02/2026 00:00:00.5"])[1],
            Some(2_678_400.5)
        );
        assert!(TimeFormat::parse("%H:%M").is_err());
        assert!(TimeFormat::parse("seconds").is_err());
    }

    #[test]
    fn dates_that_can_be_mistaken_are_not_read() {
        assert_eq!(moment("05.01.2026 10:20:30").unwrap(), "2026-01-05T10:20:30");
        assert_eq!(moment("2026-01-05T10:20:30+01:00").unwrap(), "2026-01-05T09:20:30Z");
        assert_eq!(moment("2026-01-05").unwrap(), "2026-01-05");
        assert_eq!(moment("01/05/2026"), None);
    }
}
