//! The options that are settings of a study: made from the same table as study files, so that both know the same.

use std::path::PathBuf;

use clap::builder::{PossibleValue, PossibleValuesParser};
use clap::{Arg, ArgAction, ArgMatches, Args, Command, FromArgMatches, value_parser};

use merestone::study::Choices;
use merestone::study::file::{Form, Key, TABLES, Table, Usual, find};

use super::print::Failure;

/// What stands for no zone at all, so that a file's zones can be taken back.
const NO_ZONE: &str = "none";

/// What was given of them, in the order of the table.
#[derive(Clone, Debug, Default)]
pub(crate) struct StudyArgs {
    given: Vec<(&'static Key, Vec<String>)>,
    mask: Option<PathBuf>,
}

impl StudyArgs {
    /// Puts what was given over other choices.
    pub(crate) fn apply(&self, choices: &mut Choices) -> Result<(), Failure> {
        for (key, values) in self.given() {
            let wrong = |e| Failure::wrong_use(format!("--{}: {e}", key.name));
            key.apply(choices, &values).map_err(wrong)?;
        }
        if let Some(path) = &self.mask {
            // A path from the command line need not be text.
            choices.mask = (path.as_os_str() != "none").then(|| path.clone());
        }
        Ok(())
    }

    /// The keys that were given with their values as written.
    pub(crate) fn given(&self) -> impl Iterator<Item = (&'static Key, Vec<&str>)> {
        self.given.iter().map(|(key, values)| (*key, values.iter().map(String::as_str).collect()))
    }

    /// The first option given that stands under a heading of study files.
    pub(crate) fn of_table(&self, heading: &str) -> Option<&'static str> {
        let about = |key: &&'static Key| find(key.name).is_some_and(|(table, _)| table.name == heading);
        self.given.iter().map(|&(key, _)| key).find(about).map(|key| key.name)
    }

    /// The mask that was given.
    pub(crate) fn mask(&self) -> Option<&PathBuf> {
        self.mask.as_ref()
    }
}

/// The tables that have options.
fn tables() -> impl Iterator<Item = (&'static Table, &'static str)> {
    TABLES.iter().filter_map(|table| Some((*table, table.heading?)))
}

impl Args for StudyArgs {
    fn augment_args(command: Command) -> Command {
        let options = tables()
            .flat_map(|(table, heading)| table.keys.iter().map(move |key| option(key).help_heading(heading)));
        command.args(options)
    }

    fn augment_args_for_update(command: Command) -> Command {
        Self::augment_args(command)
    }
}

impl FromArgMatches for StudyArgs {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let mut args = Self::default();
        args.update_from_arg_matches(matches)?;
        Ok(args)
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        use clap::parser::ValueSource::CommandLine;
        for key in tables().flat_map(|(table, _)| table.keys) {
            if matches.value_source(key.name) != Some(CommandLine) {
                continue;
            }
            if matches!(key.form, Form::File) {
                self.mask = matches.get_one::<PathBuf>(key.name).cloned();
            } else if let Some(values) = matches.get_many::<String>(key.name) {
                let mut values: Vec<String> = values.cloned().collect();
                if let Form::Spread(..) = key.form {
                    values = vec![values.join(" ")];
                }
                if matches!(key.form, Form::List(_)) && values == [NO_ZONE] {
                    values.clear();
                }
                self.given.push((key, values));
            }
        }
        Ok(())
    }
}

/// Whether an option stands under a heading of study files.
pub(crate) fn is_of_table(arg: &Arg, heading: &str) -> bool {
    find(arg.get_id().as_str()).is_some_and(|(table, _)| table.name == heading)
}

/// The option of one key.
fn option(key: &'static Key) -> Arg {
    let mut option = Arg::new(key.name).long(key.name).value_name(key.form.value_name()).help(key.help);
    option = match key.form {
        // So that a file's "mirror = true" can be taken back.
        Form::Flag => option
            .num_args(0..=1)
            .require_equals(true)
            .default_missing_value("true")
            .value_parser(["true", "false"])
            .hide_possible_values(true)
            .hide_default_value(true),
        Form::Switch(_, words, alone) => {
            let own = words.entries().into_iter().map(|(name, says)| PossibleValue::new(name).help(says));
            option
                .num_args(0..=1)
                .require_equals(true)
                .default_missing_value(alone)
                .value_parser(PossibleValuesParser::new(own))
        }
        // The parts together are checked when they are put over other choices.
        Form::Spread(_, parts) => option.num_args(1..=parts),
        Form::Degrees => option.value_parser(["0", "90", "180", "270"]),
        Form::Word(_, words) => {
            let own = words.entries().into_iter().map(|(name, says)| PossibleValue::new(name).help(says));
            let unset = key.unset().map(|word| PossibleValue::new(word).help("What follows from the rest"));
            option.value_parser(PossibleValuesParser::new(own.chain(unset)))
        }
        Form::File => option.value_parser(value_parser!(PathBuf)),
        Form::List(_) => option.value_parser(move |text: &str| match text {
            NO_ZONE => Ok(text.to_owned()),
            zone => key.check(zone).map(|()| zone.to_owned()),
        }),
        _ => option.value_parser(move |text: &str| key.check(text).map(|()| text.to_owned())),
    };
    option = option.allow_hyphen_values(match key.form {
        Form::Count { .. } | Form::Number { .. } | Form::Numbers { .. } | Form::List(_) => true,
        // A paper and a place have names, which never begin with a dash.
        Form::Written(syntax) => !["PAPER", "WHERE"].contains(&syntax.value_name),
        // One corner too few is to be said so, and must not swallow the option after it.
        Form::Spread(..) => false,
        Form::Flag | Form::Word(..) | Form::Switch(..) | Form::Degrees | Form::Text | Form::File => false,
    });
    option = match key.usual {
        Usual::Value(text) if !text.is_empty() => option.default_value(text),
        _ => option,
    };
    if let Form::List(_) = key.form {
        option = option.action(ArgAction::Append);
    }
    option.conflicts_with_all(key.excludes)
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use clap::Parser;
    use merestone::study::file::{StudyFile, new_study};

    use super::*;
    use crate::cli::args::{Command, CommandLine};

    fn choices(options: &[String]) -> Choices {
        let fixed = ["merestone", "draw", "p.png", "--plotter", "p.svg"].map(str::to_owned);
        let parsed = CommandLine::try_parse_from(fixed.iter().chain(options));
        let Ok(CommandLine { command: Command::Draw(args) }) = parsed else {
            panic!("{options:?}: {parsed:?}")
        };
        let mut choices = Choices::default();
        args.study.apply(&mut choices).unwrap_or_else(|e| panic!("{options:?}: {e:?}"));
        choices
    }

    fn file() -> StudyFile {
        new_study(Path::new("study.toml"), Path::new("p.png"), None).unwrap_or_else(|e| panic!("{e}"))
    }

    #[test]
    fn an_option_and_its_key_choose_the_same() {
        let (zone, other) = (["rect:10%,10%,20%,20%"], ["rect:50%,10%,20%,20%"]);
        let mut tried = 0;
        for key in tables().flat_map(|(table, _)| table.keys) {
            let mut values = vec![key.usual.text()];
            values.extend(match key.form {
                Form::Flag => vec!["true"],
                Form::Word(_, words) | Form::Switch(_, words, _) => {
                    words.entries().into_iter().map(|(name, _)| name).collect()
                }
                Form::Degrees => vec!["90", "180", "270"],
                _ => key.unset().into_iter().collect(),
            });
            for value in values {
                let mut options = vec![format!("--{}={value}", key.name)];
                let mut settings: Vec<(&str, &[&str])> = vec![(key.name, std::slice::from_ref(&value))];
                // Limits in zones need zones.
                if key.name.starts_with("focus-") || key.name.starts_with("rest-") {
                    options.extend([format!("--focus={}", zone[0]), format!("--rest={}", other[0])]);
                    settings.extend([("focus", &zone[..]), ("rest", &other[..])]);
                }
                let mut file = file();
                file.set_all(&settings).unwrap_or_else(|e| panic!("{} = {value}: {e}", key.name));
                let expected = Choices { reference: Some("p.png".into()), ..choices(&options) };
                assert_eq!(*file.choices(), expected, "{options:?}");
                tried += 1;
            }
        }
        assert!(tried >= 100, "only {tried} settings were tried");
    }

    #[test]
    fn options_win_over_the_file() {
        let mut file = file();
        let focus = ["rect:10%,10%,20%,20%"];
        file.set_all(&[
            ("mirror", &["true"]),
            ("margin", &["35mm"]),
            ("line-budget", &["3m"]),
            ("picture-width", &["80mm"]),
            ("focus", &focus),
            ("zones", &["mask.png"]),
        ])
        .unwrap_or_else(|e| panic!("{e}"));
        let over = |options: &[&str]| {
            let fixed = ["merestone", "draw", "study.toml"];
            let parsed = CommandLine::try_parse_from(fixed.iter().chain(options));
            let Ok(CommandLine { command: Command::Draw(args) }) = parsed else { panic!("{options:?}") };
            let mut choices = file.choices().clone();
            args.study.apply(&mut choices).unwrap_or_else(|e| panic!("{options:?}: {e:?}"));
            choices
        };
        assert_eq!(over(&[]), *file.choices(), "nothing given, nothing changed");
        assert!(!over(&["--mirror=false"]).direct.on_paper.view.mirrored, "a yes is taken back");
        assert_eq!(over(&["--margin", "auto"]).direct.place.margin_mm, None, "a length is taken back");
        let scaled = over(&["--scale", "50%"]).direct.place;
        assert_eq!((scaled.scale, scaled.picture_width_mm), (Some(0.5), None), "one size for another");
        let plain = over(&["--plainness", "20"]).direct.how_much;
        assert_eq!(plain, merestone::transitions::HowMuch::Plainness(20.0), "one amount for another");
        assert!(over(&["--focus", "none"]).focus.is_empty(), "zones are taken back");
        assert_eq!(
            over(&["--focus", "rect:0%,0%,5%,5%", "--focus", "rect:5%,5%,5%,5%"]).focus.len(),
            2,
            "replaced"
        );
        assert_eq!(over(&["--zones", "none"]).mask, None, "the mask is taken back");
        assert_eq!(over(&["--zones", "other.png"]).mask, Some("other.png".into()), "another mask");
    }

    #[test]
    fn every_option_of_a_study_says_what_is_usual() {
        let mut command = StudyArgs::augment_args(clap::Command::new("any"));
        let help = command.render_long_help().to_string();
        for key in tables().flat_map(|(table, _)| table.keys) {
            assert!(help.contains(&format!("--{}", key.name)), "no --{}", key.name);
            if let (Usual::Value(value), false) = (key.usual, matches!(key.form, Form::Flag)) {
                assert!(value.is_empty() || help.contains(&format!("[default: {value}]")), "--{}", key.name);
            }
        }
    }
}
