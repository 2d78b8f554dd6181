"""The words of the shop's own rules: people, signatures, setup sheets and data. The words of the fit rules stand in `fit_rules.py`."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

RULES: dict[str, RuleText] = {
    "gauge.pattern.length": RuleText(
        title=_("Line of a gauge"),
        misfit=_("The line is empty or too long."),
        expected=_("At most {most} characters."),
        next_step=_("Shorten it."),
    ),
    "gauge.pattern.word": RuleText(
        title=_("Line of a gauge"),
        misfit=_("“{word}” is none of the words for what changes."),
        expected=_("One of {words}."),
        next_step=_("Correct the line."),
    ),
    "gauge.pattern.value": RuleText(
        title=_("Line of a gauge"),
        misfit=_("A line carries one value, and a unit or a sign once at most."),
        next_step=_("Leave exactly one {{value}} in it."),
    ),
    "gauge.pattern.open": RuleText(
        title=_("Line of a gauge"),
        misfit=_("Too much of the line is left open."),
        expected=_("At most {most} of {{text}} and {{skip}}."),
        next_step=_("Write what stays the same as it is sent."),
    ),
    "scan.too_long": RuleText(
        title=_("Label"),
        misfit=_("{length} characters came in one scan."),
        expected=_("At most {most}."),
        next_step=_("Scan one symbol at a time; cover the ones beside it."),
    ),
    "scan.characters": RuleText(
        title=_("Label"),
        misfit=_("“{data}” holds control characters."),
        expected=_("Letters, figures and signs."),
        next_step=_("Scan again; if it stays so, set the scanner's prefix and suffix."),
    ),
    "scan.empty": RuleText(title=_("Label"), misfit=_("The symbol says nothing after its beginning."), next_step=_("Scan it again.")),
    "scan.identifier": RuleText(
        title=_("Label"),
        misfit=_("“{ai}” begins no element that is known here."),
        expected=_("An application identifier such as 01, 10 or 21."),
        next_step=_("Scan again, or scan the shop's own label of the lot."),
    ),
    "scan.length": RuleText(
        title=_("Label"),
        misfit=_("({ai}) {title} “{data}” has {length} characters."),
        expected=_("It takes {expected}."),
        next_step=_("Scan the whole symbol again."),
    ),
    "scan.data": RuleText(
        title=_("Label"),
        misfit=_("({ai}) {title} cannot be “{data}”."),
        expected=_("Figures where a number is asked, and no spaces."),
        next_step=_("Scan again."),
    ),
    "scan.check_digit": RuleText(
        title=_("Check digit"),
        misfit=_("({ai}) {title} {data}: the last figure is {digit} and would have to be {computed}."),
        expected=_("A number whose check digit is right: one figure is wrong."),
        next_step=_("Scan again; if it was typed, compare it figure by figure."),
    ),
    "scan.gtin": RuleText(
        title=_("Item number"),
        misfit=_("“{data}” is no item number (GTIN)."),
        expected=_("8, 12, 13 or 14 figures, the last one a check digit."),
        next_step=_("Copy it from the supplier's label, or leave it empty."),
    ),
    "scan.date": RuleText(
        title=_("Label"),
        misfit=_("({ai}) {title} “{data}” is no day."),
        expected=_("Year, month and day, two figures each."),
        next_step=_("Scan again, or ask the store to look at the label."),
    ),
    "scan.twice": RuleText(
        title=_("Label"),
        misfit=_("({ai}) stands in it twice: {first} and {second}."),
        expected=_("One of each."),
        next_step=_("Scan one symbol at a time."),
    ),
    "scan.link": RuleText(
        title=_("Label"), misfit=_("No element of it can be the key of an address."), next_step=_("Add the item number, 01.")
    ),
    "person.role": RuleText(
        title=_("Role"),
        misfit=_("{person} has no role that may {deed}."),
        expected=_("It takes one of these roles: {roles}."),
        next_step=_("Ask one of them, or ask an administrator for the role."),
    ),
    "stand_in.role": RuleText(
        title=_("Standing in"),
        misfit=_("Nobody stands in for {person} as {role}."),
        expected=_("One of the person's own roles out of {roles}: who crimps is qualified in person, who audits or administers is named."),
        next_step=_("Choose another role."),
    ),
    "stand_in.self": RuleText(
        title=_("Standing in"), misfit=_("{person} cannot stand in for themselves."), next_step=_("Name a colleague.")
    ),
    "stand_in.holds": RuleText(
        title=_("Standing in"), misfit=_("{deputy} holds the role {role} already."), next_step=_("Nothing to do: they may act with it.")
    ),
    "stand_in.closed": RuleText(title=_("Standing in"), misfit=_("The account of {deputy} is closed."), next_step=_("Name somebody else.")),
    "stand_in.days": RuleText(
        title=_("Days"),
        misfit=_("From {since} until {until} cannot be named on {today}."),
        expected=_("It begins today or later, ends no earlier than it begins, and lasts {most} days at most."),
        next_step=_("Correct the days; for longer, give the role itself."),
    ),
    "stand_in.overlap": RuleText(
        title=_("Standing in"),
        misfit=_("{deputy} stands in for {person} as {role} from {since} until {until} already."),
        next_step=_("End that first, or choose other days."),
    ),
    "stand_in.over": RuleText(title=_("Standing in"), misfit=_("It ended on {until}."), next_step=_("Nothing to do.")),
    "sign.answers": RuleText(
        title=_("Your statement"),
        misfit=_("Password and PIN are a signature: whoever chooses them answers for what is signed with them."),
        next_step=_("Tick the statement."),
    ),
    "person.own_secret": RuleText(
        title=_("Own secret"),
        misfit=_("A password or PIN can be chosen only by the person it belongs to."),
        expected=_("{person} has to be signed in."),
        next_step=_("An administrator can hand out a password for one sign-in."),
    ),
    "person.unlock_self": RuleText(
        title=_("Unlocking"),
        misfit=_("Nobody opens their own account again."),
        next_step=_("Ask an inspector, quality or an administrator to open the account of {person}."),
    ),
    "sign.wrong": RuleText(
        title=_("Badge and PIN"),
        misfit=_("Badge or user name and PIN or password do not go together."),
        expected=_("{left} more tries before the account waits."),
        next_step=_("Scan the badge again and enter the PIN slowly."),
    ),
    "sign.locked": RuleText(
        title=_("Waiting after wrong tries"),
        misfit=_("Too many wrong tries: the account waits {seconds} seconds more."),
        next_step=_("Wait, or ask an inspector, quality or an administrator to open it."),
    ),
    "sign.closed": RuleText(
        title=_("Account closed after wrong tries"),
        misfit=_("Too many wrong tries: the account stays closed until somebody has looked at it."),
        next_step=_("Ask an inspector, quality or an administrator to open it."),
    ),
    "sign.change_first": RuleText(
        title=_("Own password first"),
        misfit=_("The password was handed out by an administrator and cannot sign."),
        next_step=_("Sign in at a desk, choose a password and a PIN of your own, then sign."),
    ),
    "sign.other": RuleText(
        title=_("Signature"),
        misfit=_("This signature does not belong to this act."),
        expected=_('It takes the signature of {person} meaning "{meaning}".'),
        next_step=_("Sign again on the page of the act itself."),
    ),
    "sign.stale": RuleText(
        title=_("Changed meanwhile"),
        misfit=_("What you saw is no longer what would be signed: somebody changed it meanwhile."),
        expected=_("A signature covers exactly what was on the screen."),
        next_step=_("Look at the page again and sign what it shows now."),
    ),
    "tablet.code": RuleText(
        title=_("Code of a tablet"),
        misfit=_("No tablet waits for this code."),
        expected=_("Eight letters and digits as an administrator's page shows them; a code holds {minutes} minutes and once."),
        next_step=_("Type it again, or ask an administrator for a new one."),
    ),
    "tablet.station": RuleText(
        title=_("Station"), misfit=_("Station {station} is not in use."), next_step=_("Choose another station, or put it into use first.")
    ),
    "tablet.elsewhere": RuleText(
        title=_("Tablet"),
        misfit=_("Tablet {tablet} is enrolled at station {station}."),
        expected=_("Tablets have names of their own; one that goes elsewhere is moved."),
        next_step=_("Move it, or give this tablet another name."),
    ),
    "tablet.revoked": RuleText(
        title=_("Tablet"), misfit=_("Tablet {tablet} was revoked on {on}."), next_step=_("Make a code to enrol it again.")
    ),
    "tablet.needed": RuleText(
        title=_("Enrolled tablets only"),
        misfit=_("This browser is no enrolled tablet, and this shop works at enrolled tablets only."),
        next_step=_("Ask an administrator to enrol it; nothing was written."),
    ),
    "pin.shape": RuleText(
        title=_("PIN"),
        misfit=_("This is not a PIN."),
        expected=_("A PIN has six to twelve digits."),
        next_step=_("Choose another one."),
    ),
    "pin.obvious": RuleText(
        title=_("PIN"),
        misfit=_("One repeated digit or digits counted through are the first ones anybody tries."),
        expected=_("A PIN has six to twelve digits in no obvious order."),
        next_step=_("Choose another one."),
    ),
    "password.weak": RuleText(title=_("Password"), misfit=_("{reasons}"), next_step=_("Choose another one.")),
    "password.needed": RuleText(
        title=_("Password"),
        misfit=_("The password in use was handed out by an administrator."),
        next_step=_("Choose a password of your own as well."),
    ),
    "data.required": RuleText(title=_("Missing"), misfit=_("This is needed."), next_step=_("Fill it in.")),
    "data.none_chosen": RuleText(title=_("Choice"), misfit=_("Nothing is chosen."), next_step=_("Tick the rows first.")),
    "data.invalid": RuleText(title=_("Not understood"), misfit=_("{message}"), next_step=_("Correct it and send it again.")),
    "data.unknown": RuleText(
        title=_("Not found"),
        misfit=_("There is no {thing} {name}."),
        next_step=_("Check the number, or add it to the catalogue first."),
    ),
    "data.limits.order": RuleText(
        title=_("Limits"),
        misfit=_("The limits are not in order."),
        expected=_("Lowest, nominal, highest."),
        next_step=_("Correct the values."),
    ),
    "data.positive": RuleText(title=_("Value"), misfit=_("The value must be greater than zero."), next_step=_("Correct the value.")),
    "data.dates.order": RuleText(title=_("Dates"), misfit=_("The dates are not in order."), next_step=_("Correct the dates.")),
    "data.key.characters": RuleText(
        title=_("Characters"),
        misfit=_("The number has characters that a label cannot carry."),
        expected=_("Letters, digits, space and . _ + - are allowed; it begins with a letter or digit."),
        next_step=_("Correct the number."),
    ),
    "data.specification.current": RuleText(
        title=_("One revision in force"),
        misfit=_("Another revision of this specification is in force."),
        next_step=_("Withdraw that one first."),
    ),
    "data.unique": RuleText(
        title=_("Already there"),
        misfit=_("There is one already: {message}"),
        next_step=_("Change that one, or give this one another number."),
    ),
    "data.race": RuleText(
        title=_("Somebody was faster"),
        misfit=_("Somebody else changed the same thing at the same moment. Nothing of yours was written."),
        next_step=_("Look at the page again and repeat what is still needed."),
    ),
    "sheet.status": RuleText(
        title=_("Status of the sheet"),
        misfit=_("Sheet {sheet} is {status}."),
        expected=_("This can be done with a sheet that is {needed}."),
        next_step=_("Open the sheet in its present state, or start a new revision."),
    ),
    "sheet.empty": RuleText(
        title=_("Terminations"),
        misfit=_("Sheet {sheet} has no terminations."),
        expected=_("A sheet needs one at least."),
        next_step=_("Add the terminations first."),
    ),
    "sheet.release.author": RuleText(
        title=_("Second person"),
        misfit=_("{person} drafted this sheet and cannot release it."),
        expected=_("Author and approver are two different people."),
        next_step=_("Ask another planner or quality to review and release it."),
    ),
    "sheet.reason": RuleText(
        title=_("Reason"),
        misfit=_("A new revision needs a reason."),
        next_step=_("Say in a sentence what changes and why."),
    ),
    "sheet.comment": RuleText(title=_("Comment"), misfit=_("The comment is empty."), next_step=_("Write what should be looked at.")),
    "sheet.in_force.one": RuleText(
        title=_("One revision in force"),
        misfit=_("Another revision of this sheet is in force."),
        next_step=_("Look at the page again."),
    ),
    "sheet.in_work.one": RuleText(
        title=_("One revision in work"),
        misfit=_("Another revision of this sheet is being worked on already."),
        next_step=_("Go on with that one."),
    ),
    "termination.tool": RuleText(
        title=_("Tool"),
        misfit=_("No tool is picked for lead {lead}, end {end}."),
        expected=_("Every termination has a tool that fits."),
        next_step=_("Pick one of the tools that fit."),
    ),
    "termination.press": RuleText(
        title=_("Press"),
        misfit=_("Press {press} is picked, but no tool."),
        expected=_("A press is picked for the tool that goes into it."),
        next_step=_("Pick the tool first, or leave the press open."),
    ),
    "termination.wires": RuleText(
        title=_("Wires"),
        misfit=_("No wire is picked."),
        expected=_("One wire at least goes into the barrel."),
        next_step=_("Pick a wire."),
    ),
    "termination.plan": RuleText(
        title=_("Inspection plan"),
        misfit=_("The plan asks for {count} {what}."),
        expected=_("At least one crimp height on the first piece and at least one pull test where a pull force is specified."),
        next_step=_("Correct the inspection plan."),
    ),
    "plan.characteristic": RuleText(
        title=_("Characteristic"),
        misfit=_("{characteristic} stands twice, or the sheet states no limits for it."),
        expected=_("Each of these once: {asked}."),
        next_step=_("Correct the inspection plan."),
    ),
    "plan.characteristic.missing": RuleText(
        title=_("Characteristic"),
        misfit=_("The plan says nothing of {characteristic}, for which the sheet states limits."),
        next_step=_("State how often it is measured; none is an answer too."),
    ),
    "plan.pieces": RuleText(
        title=_("Pieces"),
        misfit=_("{count} pieces for {characteristic}."),
        expected=_("{least} to 1000 pieces."),
        next_step=_("Correct the number."),
    ),
    "plan.every_nth": RuleText(
        title=_("Every how many-th sample"),
        misfit=_("{count} is no number of samples."),
        expected=_("1 for every sample, 2 for every second one, and so on."),
        next_step=_("Correct the number."),
    ),
    "plan.gauge": RuleText(
        title=_("Gauge"),
        misfit=_("A {gauge} does not measure {characteristic}."),
        expected=_("One of: {kinds}."),
        next_step=_("Pick one of these."),
    ),
    "plan.chart": RuleText(
        title=_("Chart"),
        misfit=_("A chart of {chart} needs two pieces in a sample; the plan has {count} for {characteristic}."),
        expected=_("Individuals for single pieces."),
        next_step=_("Pick individuals, or plan two pieces or more."),
    ),
    "plan.chart.unknown": RuleText(
        title=_("Chart"),
        misfit=_("There is no chart {chart}."),
        expected=_("One of: {charts}."),
        next_step=_("Pick one of these."),
    ),
    "plan.criterion": RuleText(
        title=_("Visual criterion"),
        misfit=_("{criterion} is no usual criterion of this terminal."),
        next_step=_("Leave out only what the list shows."),
    ),
    "plan.criterion.own": RuleText(
        title=_("Criterion of your own"),
        misfit=_("A criterion of your own is empty, too long, or stands twice."),
        expected=_("At most {limit} characters, each said once."),
        next_step=_("Say in a few words what is seen when the piece is accepted."),
    ),
    "plan.criteria.none": RuleText(
        title=_("Visual criteria"),
        misfit=_("Every visual criterion is left out."),
        expected=_("A crimp is looked at too: figures alone do not prove it."),
        next_step=_("Keep those that apply."),
    ),
    "piece.nonconforming": RuleText(
        title=_("Pieces that do not conform"),
        misfit=_("Pieces do not conform to the sheet."),
        expected=_("Every single piece within the limits of the sheet."),
        next_step=_("Scrap them, or ask quality for a concession."),
        concedable=True,
    ),
    "concession.never": RuleText(
        title=_("Never conceded"),
        misfit=_("{title} ({code}) is never let through."),
        expected=_(
            "Solder-dipped ends, gauges out of calibration and missing qualifications cannot be conceded, nor can the program's own rules."
        ),
        next_step=_("Mend the cause."),
    ),
    "concession.scope": RuleText(
        title=_("What it covers"),
        misfit=_("A concession covers exactly one sheet, one termination or one material lot."),
        next_step=_("Name one of them."),
    ),
    "concession.scope.rule": RuleText(
        title=_("What it covers"),
        misfit=_("Rule {code} does not hang on {scope}."),
        expected=_("State and shelf life hang on a material lot; every other rule on a sheet or a termination."),
        next_step=_("Name what the rule hangs on."),
    ),
    "concession.limit": RuleText(
        title=_("Limit"),
        misfit=_("A concession without a limit would never end."),
        expected=_("A number of pieces, a last day, or both."),
        next_step=_("State one."),
    ),
    "concession.past": RuleText(
        title=_("Limit"), misfit=_("{day} is past already."), expected=_("Today or later."), next_step=_("Choose another day.")
    ),
    "concession.reason": RuleText(
        title=_("Reason"), misfit=_("A concession needs a reason."), next_step=_("Say in a sentence why it is acceptable.")
    ),
    "concession.left": RuleText(
        title=_("Limit of the concession"),
        misfit=_("Concession {concession} has {left} pieces left; the batch plans {quantity}."),
        next_step=_("Plan fewer pieces, or ask quality for another concession."),
    ),
    "concession.over": RuleText(
        title=_("Concession"), misfit=_("Concession {concession} was withdrawn already."), next_step=_("Look at the page again.")
    ),
    "document.file.set": RuleText(
        title=_("File of a revision"),
        misfit=_("{document} has its file already."),
        expected=_("A revision's file never changes."),
        next_step=_("Enter a new revision and attach the new file to it."),
    ),
    "document.file.size": RuleText(
        title=_("Size of the file"),
        misfit=_("{name} is larger than {limit_mb} MB."),
        next_step=_("Save it smaller, or ask whoever runs the server."),
    ),
    "document.file.kind": RuleText(
        title=_("Kind of file"),
        misfit=_("{name} is, by its content, none of the files kept here."),
        expected=_("PDF, PNG, JPEG, WebP, XLSX without macros, plain text or CSV in UTF-8."),
        next_step=_("Save it as PDF."),
    ),
    "document.file.name": RuleText(
        title=_("Name of the file"),
        misfit=_("By its content {name} is {kind}, and its name says otherwise."),
        next_step=_("Name it as what it is."),
    ),
    "document.file.damaged": RuleText(
        title=_("Damaged file"),
        misfit=_("The file of {document} is gone or no longer the one that was attached."),
        expected=_("Content with the hash {sha256}."),
        next_step=_("Have it restored from a backup."),
    ),
    "document.withdrawn": RuleText(
        title=_("Withdrawn"), misfit=_("{document} was withdrawn on {day}."), next_step=_("Look at the page again.")
    ),
    "document.relied_on": RuleText(
        title=_("What relies on it"),
        misfit=_("{count} sheets and specifications rely on {document}."),
        expected=_("Whoever withdraws it knows the number and confirms it."),
        next_step=_("Look at the list and enter the number."),
    ),
    "crib.tool.retired": RuleText(
        title=_("Retired tool"),
        misfit=_("Tool {tool} is retired."),
        next_step=_("Change its state first, with the reason why it comes back."),
    ),
    "crib.press.height": RuleText(
        title=_("Shut height"),
        misfit=_("Press {press} states no shut height with a tolerance."),
        expected=_("A measured height is held against both."),
        next_step=_("Enter them with the press first."),
    ),
    "crib.press.due": RuleText(
        title=_("Next verification"),
        misfit=_("{due} is not after {day}."),
        expected=_("The last day on which this verification holds."),
        next_step=_("Correct the day."),
    ),
    "crib.press.gauge": RuleText(
        title=_("Gauge"),
        misfit=_("Gauge {gauge} was not in calibration on {day}."),
        next_step=_("Measure with a gauge in calibration."),
    ),
    "crib.day.future": RuleText(
        title=_("Day"), misfit=_("{day} is yet to come."), expected=_("Today or an earlier day."), next_step=_("Correct the day.")
    ),
    "crib.count.ahead": RuleText(
        title=_("Counter"),
        misfit=_("Tool {tool} stands at {counted} crimps, not yet at {count}."),
        next_step=_("Set the counter first if the tool itself shows more, or correct the count."),
    ),
    "crib.counter.back": RuleText(
        title=_("Counter turned back"),
        misfit=_("Tool {tool} stands at {counted} crimps already; {count} is less than what was counted."),
        expected=_("A counter goes forward; back only for a reason."),
        next_step=_("Correct the count, or say why it goes back, such as a new counter."),
    ),
    "crib.wear.fitted": RuleText(
        title=_("One part of a kind"),
        misfit=_("A part of this kind is fitted already."),
        next_step=_("Look at the page again: somebody may have fitted it just now."),
    ),
    "crib.wear.reason": RuleText(
        title=_("Reason"),
        misfit=_("The {kind} {part} comes out, and nobody said why."),
        expected=_("A part that comes out has a reason, such as worn or chipped."),
        next_step=_("Say in a few words why it is replaced."),
    ),
    "crib.wear.before": RuleText(
        title=_("Order of the parts"),
        misfit=_("The part it replaces, {part}, went in on {day} at {count} crimps, which is later."),
        next_step=_("Correct the day or the count."),
    ),
    "crib.care.plan": RuleText(
        title=_("Plan"),
        misfit=_("Tool {tool} has no plan that says when its next {kind} is due."),
        expected=_("A plan in {measures}."),
        next_step=_("State the plan on the tool first."),
    ),
    "crib.care.state": RuleText(
        title=_("After a failed verification"),
        misfit=_("A tool that failed its verification does not stay in use."),
        expected=_("One of: {states}."),
        next_step=_("Choose where it goes."),
    ),
    "once.key": RuleText(
        title=_("Key of the act"),
        misfit=_("The key of this act is missing or too long."),
        expected=_("Every write from a tablet carries a key of its own, at most 64 characters."),
        next_step=_("Load the page again."),
    ),
    "once.other": RuleText(
        title=_("Key of the act"),
        misfit=_("This key was used for another act: {act}."),
        next_step=_("Load the page again."),
    ),
    "parts.file": RuleText(
        title=_("Parts list"),
        misfit=_("The parts list cannot be read: {reason}."),
        expected=_("CSV in UTF-8, or XLSX, with a line of column names and a line per lead; at most {limit} MB."),
        next_step=_("Save it again as CSV (UTF-8) or XLSX."),
    ),
    "parts.column.needed": RuleText(
        title=_("Columns"),
        misfit=_("No column of the file is named for: {column}."),
        expected=_("A parts list says at least lead, wire, and a terminal at one end."),
        next_step=_("Choose the column that says it."),
    ),
    "parts.column.missing": RuleText(
        title=_("Columns"), misfit=_("The column chosen for {column} is not in the file."), next_step=_("Choose another one.")
    ),
    "parts.column.twice": RuleText(
        title=_("Columns"),
        misfit=_("Column {column} is chosen twice."),
        expected=_("Each column of the file means one thing."),
        next_step=_("Choose another one for one of them."),
    ),
    "parts.cell.empty": RuleText(
        title=_("Missing"), misfit=_("There is no {column}."), expected=_("Every lead has a number and a wire."), next_step=_("Fill it in.")
    ),
    "parts.cell.long": RuleText(title=_("Too long"), misfit=_("The text has more than {limit} characters."), next_step=_("Shorten it.")),
    "parts.length.unit": RuleText(
        title=_("Unit of the length"),
        misfit=_("{text} is a length without a unit."),
        expected=_("The unit stands in the cell, in the column's name, or is chosen with the columns."),
        next_step=_("Choose the unit on the columns page, or write it in the cell."),
    ),
    "parts.length": RuleText(title=_("Length"), misfit=_("{text} is no length: {reason}"), next_step=_("Correct the cell.")),
    "parts.quantity": RuleText(title=_("Quantity"), misfit=_("{text} is no quantity: {reason}"), next_step=_("Correct the cell.")),
    "parts.lead.twice": RuleText(
        title=_("Lead number"),
        misfit=_("Lead {lead} stands in line {line} already."),
        expected=_("Every lead has a number of its own."),
        next_step=_("Give one of them another number."),
    ),
    "parts.with": RuleText(
        title=_("Shared barrel"),
        misfit=_("{text} does not name the end of another lead in this list."),
        expected=_("Lead and end, such as 4/A for the same end of this lead, or B+4/A for its end B."),
        next_step=_("Correct the cell."),
    ),
    "parts.with.terminal": RuleText(
        title=_("Shared barrel"),
        misfit=_("Lead {lead}, end {end} has no terminal of its own, or another one than is named here."),
        expected=_("One terminal for all wires in the barrel, named at the lead that holds it."),
        next_step=_("Correct the terminals, or the lead named."),
    ),
    "parts.with.quantity": RuleText(
        title=_("Shared barrel"),
        misfit=_("Lead {lead} is made {count} times a harness, this one {own} times."),
        expected=_("Wires that share a barrel are made in the same number."),
        next_step=_("Correct the quantities."),
    ),
    "parts.unknown": RuleText(
        title=_("Not in the catalogue"),
        misfit=_("There is no {thing} {name} in use in the catalogue."),
        next_step=_("Correct the cell, or add it to the catalogue first."),
    ),
    "parts.unknown.close": RuleText(
        title=_("Not in the catalogue"),
        misfit=_("There is no {thing} {name} in use in the catalogue."),
        expected=_("There is one that is written {close}."),
        next_step=_("Correct the cell."),
    ),
    "parts.tool.none": RuleText(
        title=_("Tool"),
        misfit=_("No tool has an approved row for terminal {terminal}."),
        expected=_("Every termination has a tool that fits."),
        next_step=_("Have a row approved for a tool, or choose another terminal."),
    ),
    "parts.open": RuleText(
        title=_("Parts list"),
        misfit=_("{bad} of {rows} leads do not fit yet. No sheet was made."),
        expected=_("Every lead reads well and fits."),
        next_step=_("Correct the leads marked below."),
    ),
    "parts.empty": RuleText(
        title=_("Parts list"),
        misfit=_("No lead of the list has a terminal, so there is nothing to plan."),
        next_step=_("Check which columns are read as terminals."),
    ),
    "parts.made": RuleText(
        title=_("Parts list"),
        misfit=_("Sheet {sheet} was made from this list already."),
        next_step=_("Change the sheet, or take in the list again for another one."),
    ),
    "parts.cell.where": RuleText(
        title=_("Correction"), misfit=_("The list has no line or column {place} to correct."), next_step=_("Load the page again.")
    ),
    "import.header": RuleText(
        title=_("Columns"),
        misfit=_("The file has no column {column}."),
        expected=_("Columns: {columns}."),
        next_step=_("Correct the first line of the file."),
    ),
    "import.column": RuleText(
        title=_("Columns"),
        misfit=_("Column {column} is not known."),
        expected=_("Columns: {columns}."),
        next_step=_("Correct or remove the column."),
    ),
    "import.file": RuleText(
        title=_("File"),
        misfit=_("The file cannot be read: {reason}."),
        expected=_("CSV in UTF-8 (comma or semicolon) or XLSX, with a first line of column names, at most {limit} MB."),
        next_step=_("Save it again as CSV (UTF-8) or XLSX."),
    ),
    "import.rows": RuleText(
        title=_("Rows"),
        misfit=_("{bad} of {rows} rows are wrong. Nothing was imported."),
        next_step=_("Correct the rows named below and import the whole file again."),
    ),
    "states.rows": RuleText(
        title=_("Rows"),
        misfit=_("{bad} of {rows} rows are refused. Nothing was changed."),
        next_step=_("Correct the rows named below and send the whole file again."),
    ),
    "import.kind": RuleText(
        title=_("Kind"),
        misfit=_("There is no kind {kind} to import."),
        expected=_("Kinds: {kinds}."),
        next_step=_("Name one of them."),
    ),
    "saved.address": RuleText(
        title=_("Saved question"),
        misfit=_("{address} is no question that can be saved."),
        expected=_("The address of a list or a search of this program, from its first slash on, at most 500 characters."),
        next_step=_("Open the list, set its filters and save it from there."),
    ),
    "saved.name": RuleText(
        title=_("Saved question"), misfit=_("You keep a question called {name} already."), next_step=_("Write another name.")
    ),
    "saved.many": RuleText(
        title=_("Saved question"), misfit=_("You keep {most} questions already."), next_step=_("Delete one that is no longer asked.")
    ),
    "saved.owner": RuleText(
        title=_("Saved question"),
        misfit=_("This question is kept by {owner}."),
        next_step=_("Save it under a name of your own to change it."),
    ),
}
