//! Memory: how it is written, how much is free, and what the work on one reference takes.

use std::fs;
use std::path::Path;
use std::str::FromStr;

/// A number of bytes, as written on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Bytes(pub(crate) u64);

/// Units of memory (IEC 80000-13), the longer names first.
const UNITS: [(&str, f64); 4] = [("MiB", 1_048_576.0), ("GiB", 1_073_741_824.0), ("MB", 1e6), ("GB", 1e9)];
/// Least and most that make sense.
const RANGE: [f64; 2] = [64e6, 1e15];
/// What is taken for free where the system does not say.
const UNKNOWN_FREE: u64 = 4 << 30;

impl FromStr for Bytes {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let hint =
            || format!("\"{text}\" is no memory from 64MB on; write it with its unit, such as 800MB or 4GiB");
        let (number, unit) = UNITS
            .iter()
            .find_map(|(name, worth)| {
                let at = text.len().checked_sub(name.len())?;
                let (number, unit) = text.split_at_checked(at)?;
                unit.eq_ignore_ascii_case(name).then_some((number, worth))
            })
            .ok_or_else(hint)?;
        let bytes = number.trim().parse::<f64>().map_err(|_| hint())? * unit;
        if (RANGE[0]..=RANGE[1]).contains(&bytes) { Ok(Self(bytes as u64)) } else { Err(hint()) }
    }
}

/// What one reference takes in bytes, a fifth and more above what was measured (DEVELOPERS.md): for the program's tables; for each
/// pixel of the reference while it is read and made into the picture; for each working pixel after that.
const OF_ANY: f64 = 40e6;
const OF_REFERENCE: f64 = 16.0;
const OF_WORKING: f64 = 240.0;

/// Memory in bytes that a reference of so many pixels takes at so many working pixels.
pub(crate) fn needed(reference_pixels: f64, working_pixels: f64) -> u64 {
    (OF_ANY + (OF_REFERENCE * reference_pixels).max(OF_WORKING * working_pixels)) as u64
}

/// Half of the memory that is free: of the machine's, or of what its control group may take (cluster jobs run in one).
pub(crate) fn usual() -> u64 {
    let free = machine_free().unwrap_or(UNKNOWN_FREE);
    group_free().map_or(free, |group| group.min(free)) / 2
}

/// Memory that the system counts as available (Linux, proc(5)).
fn machine_free() -> Option<u64> {
    available(&fs::read_to_string("/proc/meminfo").ok()?)
}

fn available(meminfo: &str) -> Option<u64> {
    let line = meminfo.lines().find_map(|line| line.strip_prefix("MemAvailable:"))?;
    line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok()?.checked_mul(1024)
}

/// What is left in the control group of this process (Linux, cgroups(7), version 2).
fn group_free() -> Option<u64> {
    left_in_group(&fs::read_to_string("/proc/self/cgroup").ok()?, Path::new("/sys/fs/cgroup"))
}

/// The least that is left in a group of `/proc/self/cgroup` and in those it lies in, each of which may have a limit; none where
/// none has.
fn left_in_group(groups: &str, root: &Path) -> Option<u64> {
    let own = groups.lines().find_map(|line| line.strip_prefix("0::/"))?;
    let left = |folder: &Path| {
        let number = |file: &str| fs::read_to_string(folder.join(file)).ok()?.trim().parse::<u64>().ok();
        // Files that were read lately count as taken, but make room when it is wanted.
        let table = fs::read_to_string(folder.join("memory.stat")).unwrap_or_default();
        let files = table.lines().find_map(|line| line.strip_prefix("inactive_file "));
        let files = files.and_then(|bytes| bytes.trim().parse().ok()).unwrap_or(0);
        let taken = number("memory.current")?.saturating_sub(files);
        Some(number("memory.max")?.saturating_sub(taken))
    };
    let own = root.join(own);
    own.ancestors().take_while(|folder| folder.starts_with(root)).filter_map(left).min()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn memory_takes_a_unit() {
        for (text, bytes) in
            [("64MB", 64_000_000), ("1.5 GB", 1_500_000_000), ("2GiB", 2 << 30), ("512mib", 512 << 20)]
        {
            assert_eq!(text.parse(), Ok(Bytes(bytes)), "{text}");
        }
        for bad in ["", "4", "GB", "-2GB", "63MB", "4 TB", "nanGB", "1e99GB", "4GBs", "é"] {
            assert!(bad.parse::<Bytes>().is_err(), "{bad:?} was taken");
        }
    }

    #[test]
    fn the_tightest_of_nested_groups_counts() {
        let dir = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
        let root = dir.path();
        let put = |folder: &str, max: &str, current: &str| {
            let folder = root.join(folder);
            fs::create_dir_all(&folder).unwrap_or_else(|e| panic!("{e}"));
            for (file, text) in [("memory.max", max), ("memory.current", current)] {
                fs::write(folder.join(file), format!("{text}\n")).unwrap_or_else(|e| panic!("{e}"));
            }
        };
        let left = |groups: &str| left_in_group(groups, root);
        // cgroups(7): version 2 is the line that begins with 0::, and "max" is no limit.
        put("job/step", "max", "500");
        assert_eq!(left("0::/job/step\n"), None, "no group has a limit");
        put("job", "9000", "2000");
        assert_eq!(left("0::/job/step\n"), Some(7000), "the group around it has one");
        put("job/step", "3000", "500");
        assert_eq!(left("0::/job/step\n"), Some(2500), "its own is tighter");
        put("job", "9000", "8900");
        assert_eq!(left("0::/job/step\n"), Some(100), "little is left around it");
        put("job", "9000", "9500");
        assert_eq!(left("0::/job/step\n"), Some(0), "more is taken than allowed");
        fs::write(root.join("job/memory.stat"), "anon 8000\ninactive_file 700\n")
            .unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(left("0::/job\n"), Some(200), "files that were read make room");
        put("", "60", "10");
        assert_eq!(left("0::/\n"), Some(50), "the root of a container");
        for none in ["", "12:memory:/job\n", "0::job\n"] {
            assert_eq!(left(none), None, "{none:?} is no group of version 2");
        }
        assert_eq!(left("0::/gone\n"), Some(50), "a group that is gone lay in the root");
    }

    #[test]
    fn what_is_available_is_read_from_the_systems_table() {
        let table = "MemTotal:       16318480 kB\nMemFree:  100 kB\nMemAvailable:    8000 kB\n";
        assert_eq!(available(table), Some(8000 * 1024));
        assert_eq!(available("MemTotal: 1 kB\n"), None, "an old kernel does not say");
    }
}
