//! Options that are about another sheet than the one that a command makes: kept out of its help, and refused.

use clap::Arg;

use merestone::study::file::find;

use super::print::Failure;
use super::study_args::StudyArgs;

/// Headings of study files that are about one sheet, which is also the name of its command: what it is called.
const SHEETS: [(&str, &str); 5] = [
    ("plan", "the value plan"),
    ("structure", "the value structure"),
    ("order", "the working order"),
    ("squared", "the squared reference"),
    ("packet", "the packet"),
];

/// The sheet that an option is about, when it is another than that of a command.
fn another(name: &str, command: &str) -> Option<(&'static str, &'static str)> {
    // Numbers with halves are those of the plan, and the working order has them too.
    if (name, command) == ("halves", "order") {
        return None;
    }
    let (table, _) = find(name)?;
    SHEETS.into_iter().find(|&(sheet, _)| sheet == table.name && sheet != command)
}

/// Whether an option is about another sheet than that of a command.
pub(super) fn is_of_another_sheet(arg: &Arg, command: &str) -> bool {
    another(arg.get_id().as_str(), command).is_some()
}

/// Refuses options of another sheet than that of a command; what a study file says of it is passed over instead.
pub(super) fn refuse_other_sheets(args: &StudyArgs, command: &str) -> Result<(), Failure> {
    let found = args.given().find_map(|(key, _)| Some((key.name, another(key.name, command)?)));
    match found {
        Some((name, (own, what))) => Err(Failure::wrong_use(format!(
            "--{name} is about {what}; run 'merestone {own}' for it, or leave it out"
        ))),
        None => Ok(()),
    }
}

/// Settings of a drawing that change nothing on a sheet.
pub(super) struct Without {
    /// The command that makes it.
    pub(super) command: &'static str,
    /// What it is, in words.
    pub(super) sheet: &'static str,
    /// The settings.
    pub(super) keys: &'static [&'static str],
}

impl Without {
    fn has_not(&self, name: &str) -> bool {
        self.keys.contains(&name) || find(name).is_some_and(|(table, _)| table.name == "plotter")
    }

    /// Keeps them, and those of other sheets, out of the help.
    pub(super) fn hide(&self, arg: Arg) -> Arg {
        let hidden = is_of_another_sheet(&arg, self.command) || self.has_not(arg.get_id().as_str());
        if hidden { arg.hide(true) } else { arg }
    }

    /// Refuses them where they are given as options; what a study file says of them is passed over.
    pub(super) fn check(&self, study: &StudyArgs) -> Result<(), Failure> {
        refuse_other_sheets(study, self.command)?;
        match study.given().find(|(key, _)| self.has_not(key.name)) {
            None => Ok(()),
            Some((key, _)) => Err(Failure::wrong_use(format!(
                "--{} is about a sheet that is drawn from, and changes nothing on {}; leave it out",
                key.name, self.sheet
            ))),
        }
    }
}
