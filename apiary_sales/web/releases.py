"""What is new in each version, told to the people who use it; the page is Help, What is new."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Release:
    version: str
    changes: tuple[str | Promise, ...]


# Newest first. The first one is the version of the service, `apiary_sales.__version__`.
RELEASES = (
    Release(
        "0.11.0",
        (
            _(
                "In a house with years of work, an entry for an earlier day, a correction and "
                "undoing take hardly longer than in a young one."
            ),
            _(
                "The cash book, the money kept, deposit slips, statements, the drums that are out, "
                "the flow of honey and the costs of a season come sooner in such a house. What the "
                "accounts came to each month is kept, and proved with the books."
            ),
            _(
                "Checking the books and long lists work in a large house on PostgreSQL too, where "
                "some of them did not end."
            ),
        ),
    ),
    Release(
        "0.10.0",
        (
            _(
                "Large houses: the average cost, the costs of seasons and many lists take no "
                "longer after years of work. The database counts its tables every night."
            ),
            _(
                "A report opens on this year, or on the years that it compares, says so, and "
                "offers all days. In the API it does so too: send “since=” for all days. Its rows "
                "come a thousand at a time, with the address of the next ones."
            ),
            _(
                "Papers, plans and reports wait for each other in a queue of their own: fifty "
                "papers at once no longer keep everybody waiting."
            ),
            _(
                "A form that is sent twice after a lost answer is led on with “This was recorded "
                "already”, also where the act has used up what the form chose from."
            ),
            _(
                "Checking the books works on old and large houses and while people sell. A fault "
                "is told after a second look, with what to do."
            ),
            _(
                "The service does not start on a database whose log belongs to another one, as "
                "after a backup was copied over it: it says so, and how to restore."
            ),
            _(
                "A full disk and a lost database are said plainly, with what was recorded and what "
                "was not. Today tells the owner when the work of the night failed."
            ),
            _(
                "Where the clock of the computer was set back, selling and billing go on, and "
                "Today tells the owner."
            ),
            _(
                "Counting offers the jars in stock and the newest lots; any other lot is counted "
                "by the code on its jar."
            ),
            _(
                "Pages come sooner in every house whose database is SQLite: its file is no longer "
                "opened anew for each of them."
            ),
            _(
                "Where there are more than fifty customers, a form finds them by a part of the "
                "name, the town or the telephone number instead of listing all. The receipts of "
                "the stand list the newest thousand; older ones are found by day or number."
            ),
            _(
                "In the API a recall and the story of a lot say how many lots there are, and give "
                "them in pages at addresses of their own: programs that read them ask there."
            ),
            _(
                "On PostgreSQL several processes answer at once, one for each core, and lists, "
                "reports and search can be read from a replica."
            ),
        ),
    ),
    Release(
        "0.9.0",
        (
            _(
                "Programs can do and read nearly everything that people can, through the API under "
                "/api/v1/: lists with filters, an id beside each name, many sales of a till at "
                "once, and the same answer when something is sent twice."
            ),
            _(
                "Programs that are told: the house sends signed messages when orders, sales, "
                "invoices, payments and stock change, again and again until they are taken."
            ),
            _(
                "Wrong passwords slow down and lock. The owner sees all sign-ins under Settings, "
                "and Today tells of many wrong tries. Passwords have at least ten characters; one "
                "that the owner has set is changed at the first sign-in."
            ),
            _(
                "A second step at sign-in: a code of an app, with recovery codes, or a passkey. "
                "The owner can require it."
            ),
            _(
                "Devices and programs: see where you are signed in, sign out one or all. Keys of "
                "programs have names, end by themselves and can be revoked. Keys from before this "
                "version end 90 days after the upgrade: make new ones. A new password, another "
                "role and switching a person off end all sign-ins and keys."
            ),
            _(
                "Who sells at the stand sees no costs and no trade prices, and takes back only her "
                "own sales of the day. After signing out nothing stays on a device but sales that "
                "wait."
            ),
            _(
                "The database itself refuses to change or delete what is booked, and a seal on "
                "statements and backups shows where entries of stock or money were changed behind "
                "the program's back."
            ),
            _(
                "When two people change the same page at the same time, nobody's change is lost: "
                "what both changed is shown side by side. Programs get the same by ETag and "
                "If-Match, and follow what changes with changed_since."
            ),
            _("The API has pages of its own under Help, with a tour to try."),
            _(
                "The back office is for looking only: everything is changed on its own page. A CSV "
                "file of a house with decimal commas has semicolons, as its spreadsheet reads it."
            ),
        ),
    ),
    Release(
        "0.8.0",
        (
            _(
                "The season plan says in words what to sell in drums now and for how much at "
                "least, what to bottle this month, which parts to order by when, and what may run "
                "out, month by month until after the next harvest. Enter what you expect; what is "
                "not known is named."
            ),
            _(
                "The bottling plan uses all free honey of any number of vessels, and says what it "
                "left out and why: on hold, too moist, promised. No past sale is counted twice, "
                "and no part of a year as a year."
            ),
            _(
                "When to stop bottling: for each product and channel up to how many are worth "
                "filling, what they earn by weight of honey, by hour and by week in the tank, and "
                "what is scarce now."
            ),
            _(
                "Costs that come late reach what was sold: when a season is costed, what was sold "
                "without a cost can be costed too, and this can be undone. Beside each margin "
                "stands how much has no cost yet."
            ),
            _(
                "Plans and prices use the quoted price of a part, else the one paid last; the "
                "books keep the average. Sales of blended honey are shared out to its seasons."
            ),
            _(
                "Money by month: received, paid out, due and expected, beside the year before. "
                "What remains of each customer and channel after the costs of selling."
            ),
            _(
                "Try a price before you set it, with the reaction of buyers as you believe it. A "
                "change by percent shows what it really is after rounding, and prices that begin "
                "later are shown today. Stock says how long it lasts by the weeks of a year ago."
            ),
            _(
                "Reports begin with their point in a sentence. Months have their year and no "
                "gaps, the month that is not over is marked, years stand beside each other, each "
                "size has its own small picture of runs, long tables have pages, and a report "
                "prints on one sheet."
            ),
            _("A new house on this machine is ready in a second. The demo tells three seasons."),
        ),
    ),
    Release(
        "0.7.0",
        (
            _(
                "A new house is set up page by page in the browser, from a one-time code to the "
                "opening day: tanks, sizes, prices, people, honey in stock, old jars with their "
                "lot codes, open invoices. Each page can wait for another day."
            ),
            _(
                "Lists that you have come in from CSV or Excel: customers, products, prices, "
                "stock, past sales, expenses. Every row is checked first, and a whole list can be "
                "undone."
            ),
            _(
                "A house in kilograms works like one in pounds: weights, prices a kilogram, "
                "litres, °C, papers, labels, the decimal comma, and cash rounded to the smallest "
                "coin. Language, currency and units are in the business details now, not in the "
                "settings of the machine."
            ),
            _(
                "Find anything from every page, with the box or the key “/”: lot codes, orders, "
                "invoices, amounts, check numbers, and customers by any part of name or telephone."
            ),
            _(
                "Help has a page for each task, reached by the question mark beside a heading, and "
                "shows how each number is made, with your own figures. Cards for the stand and the "
                "bottling room can be printed."
            ),
            _(
                "Today begins with what needs you. Long lists are paged and filtered, and fit a "
                "phone; long work shows how far it is and can be stopped; many invoices or "
                "statements print in one go."
            ),
            _(
                "A backup is made and tried each night. Settings shows when the last good one was, "
                "and how the system is. The whole house goes into one readable file, to another "
                "machine, or to PostgreSQL."
            ),
            _(
                "A lost password is replaced by a link that works once. What is held of a customer "
                "can be shown, given out, and erased but for what the books must keep."
            ),
            _("Pages and papers have the same letters on every device."),
        ),
    ),
    Release(
        "0.6.0",
        (
            _(
                "A sale that happened at the stand is always recorded: the last jar sold twice, "
                "another price, a wrong clock. What does not fit is marked for the owner, and what "
                "was short is settled later."
            ),
            _(
                "The stand page is at once done with a sale, whatever the signal. It holds all "
                "places, and opens without signal from every page. Sales that wait can be opened, "
                "put right, undone, or given to the office."
            ),
            _(
                "Search and scan, goods by weight, quantity prices, discounts in percent, cash and "
                "card together, tips, a price that the buyer names, and check numbers."
            ),
            _(
                "Each sale keeps who sold it. On a shared phone the seller changes with a short "
                "PIN; set yours under Account."
            ),
            _(
                "The day at the stand: its float, cash in and out, the count by coins and notes, "
                "what is over or short, and takings by hour, person and way of paying."
            ),
            _(
                "Market days with a load list, what came home, and what the day earned an hour. "
                "Honesty boxes: count the box and the shelf, and the difference is the sale."
            ),
            _(
                "Part of a sale can come back; the office approves what is older than a day or has "
                "no receipt. Orders that customers pick up are handed over at the stand."
            ),
            _(
                "Receipts with time, place and seller, on a roll in one piece, by e-mail or "
                "shared, with a QR code to read them later."
            ),
            _(
                "Who sells at the stand sees the stand on Today: takings, what runs low, what to "
                "bring. They count their own place themselves."
            ),
        ),
    ),
    Release(
        "0.5.0",
        (
            _(
                "Credit a part of an invoice: some of the goods, part of the price, or an amount. "
                "Say what came back, to which place, and whether it can be sold. A wrong invoice "
                "is credited and its corrected copy issued in one step."
            ),
            _(
                "Orders and quotes can be changed until they are handed over. Jars can be quoted "
                "too, and a quote says when it was declined, withdrawn, replaced or expired."
            ),
            _(
                "Drums are weighed and sealed as they leave, and billed by the scale. The drum "
                "register says who holds which drum, and offers the deposit back."
            ),
            _(
                "Papers in the buyer's language, with your logo: confirmation, pro-forma, delivery "
                "note, bill of lading, packing slip, payment receipt, receipts on a roll. Every "
                "kind of number begins with its own letter."
            ),
            _(
                "Taxes by state, county or VAT, prices that include the tax, certificates with "
                "their scans, and the tax return of any period."
            ),
            _(
                "Close the books up to a day. Read what was owed and what the stock was worth on "
                "any day; a journal, a trial balance and lists for your accountant."
            ),
            _(
                "One payment for several invoices, discounts, write-offs, bounced checks, deposits "
                "at the bank, a cash book, and books that begin in the middle of a year."
            ),
            _(
                "Buy: orders to suppliers, their bills, and your expenses. Sell on consignment, by "
                "contract, by standing order, and on delivery rounds."
            ),
            _(
                "Send papers by e-mail, remind of what is overdue, and give customers invoices "
                "that their programs can read."
            ),
        ),
    ),
    Release(
        "0.4.0",
        (
            _(
                "Every act takes the day it happened. What you enter late is booked on its day, "
                "by what was in the vessel then, and what you entered for later days is worked "
                "out again. What the books lacked is shown on Today until it is settled."
            ),
            _(
                "Runs, honey, parts and goods that came in can be corrected after jars were sold. "
                "Blends, jars and costs follow, and both states stay readable. A lot code never "
                "changes."
            ),
            _(
                "Bottling day: one sheet for a tank and a day, with a row for each size. Honey "
                "that nobody measured is estimated, and one dip in the evening settles it."
            ),
            _(
                "Honey can be measured and drums weighed again. Grades and warnings follow, and "
                "honey above your own limit goes into jars only if you say so."
            ),
            _(
                "A fill check takes any number of jars, also before a run, and each size has a "
                "control chart. A dip says how far stick and tables can be wrong."
            ),
            _(
                "Count everything on one sheet, on paper or on several phones, while selling goes "
                "on. Skimmings, spills, samples and honey fed to bees have a reason of their own."
            ),
            _(
                "Logs of warming and cleaning, with what is due on Today; a dip chart to print "
                "for each tank; a blend planner for a buyer's colour and moisture."
            ),
            _(
                "Where every pound went: from the extraction to jars, drums, sales and losses, "
                "with the entries behind each figure and a difference of zero."
            ),
        ),
    ),
    Release(
        "0.3.0",
        (
            _(
                "Products: one size can be sold as several honeys, under your own name or a "
                "customer's. Prices, orders, the stand and the reports go by product."
            ),
            _(
                "A run has its lot code from the plan on: by a pattern of your own, or typed. One "
                "code may be stamped on all that you fill on a day."
            ),
            _(
                "Jars can be labelled later, relabelled, emptied back into a tank, and put "
                "together as gift boxes. Honey can be creamed, comb or chunk."
            ),
            _(
                "Other goods such as wax and candles, services such as pollination, and honey sold "
                "by weight into a customer's own container."
            ),
            _(
                "Honey you buy has its supplier and country, and a label can state where it is "
                "from. Honey of other beekeepers is kept apart, with a statement for them."
            ),
            _(
                "Labels on sheets and rolls, with bar codes or QR codes, and labels for drums. If "
                "you turn it on, the QR code of a jar leads to a page about its lot."
            ),
            _(
                "Attach laboratory reports, certificates and photos. Measurements of a lot have "
                "their day and method, and a lot has a certificate for a packer."
            ),
            _(
                "Recall, under Honey: from one code to every buyer and every place that has the "
                "honey, with a balance of each lot. Put all of it on hold or release it in one "
                "step, and try a mock recall against the clock."
            ),
        ),
    ),
    Release(
        "0.2.0",
        (
            _(
                "One command starts the service, with or without HTTPS: manage.py serve. "
                "If a setting is unsafe or the database needs an upgrade, it says so and "
                "tells you what to do."
            ),
            _(
                "Numbers are read by the decimal sign of your business. If a number could "
                "mean two things, such as 0,250 where the decimal sign is a point, the "
                "page asks you to write it clearly."
            ),
            _(
                "You can type weights and volumes with their units, such as 1 lb 6.4 oz, 12 kg or "
                "1.5 gal."
            ),
            _("Pages, messages and buttons use plainer words, in English and in Spanish."),
            _("Upgrades keep all your data: each version is tested with data of earlier versions."),
            _("Days are written in one style everywhere, on papers too."),
        ),
    ),
    Release(
        "0.1.0",
        (
            _(
                "Honey: receive it into tanks, fill drums, blend lots and dip tanks. Trace any jar "
                "back to its lots, and any lot to its buyers."
            ),
            _(
                "Bottling: plan and record runs, with the jars, lids and labels they use. Check "
                "the fill, and print the text for labels."
            ),
            _(
                "Selling: quote drums, take orders and hand them over, and sell at the "
                "stand even without a signal."
            ),
            _(
                "Money: invoices, receipts, credit notes, payments, drum deposits and statements, "
                "on the screen and as PDF."
            ),
            _("Prices and costs, a bottling plan, and reports that compare drums with jars."),
            _("A role for each person: owner, bottling, stand or office. English and Spanish."),
        ),
    ),
)
