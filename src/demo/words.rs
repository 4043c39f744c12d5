//! What is the same in every demo season: settings, places, events, house rules and notices, as workbook cells.

use crate::domain::published::reminders::{
    DAY_BEFORE_DUTY, DUTIES_FIRST, Ground, IN_ADVANCE, NAMES_BEFORE_FACES, NEWS_BY_MAIL, OTHER_CHANNEL,
    PRIMER, TEXT_BESIDE_MAIL, THREE_AND_ONE, THREE_AND_ONE_AT_RISK, WEEK_THREE_ONE, WITHIN_THE_HOUR,
    WRITE_IT_DOWN,
};

/// Cells of one row: column and text.
pub type Cells = &'static [(&'static str, &'static str)];

/// The cast of the matinee.
pub const MATINEE_CAST: &str = "Kites";
/// The cast of the evening show.
pub const EVENING_CAST: &str = "Lanterns";
/// Name of the event at which quick-change costumes are handed in.
pub const DRESS: &str = "Dress rehearsal";
/// Name of the photographs.
pub const PHOTOGRAPHS: &str = "Photographs";
/// Name of the studio rehearsal.
pub const STUDIO: &str = "Studio run";
/// Name of the show for the first cast.
pub const MATINEE: &str = "Saturday matinee";
/// Name of the show for the second cast; it ends after 22:00.
pub const EVENING: &str = "Saturday evening";
/// Name of the show on the day the clocks go forward.
pub const CLOCK_CHANGE_SHOW: &str = "Sunday show";
/// Own call of the second act at the dress rehearsal.
pub const SECOND_ACT_DRESS_CALL: &str = "17:45";
/// Own call of the second act at the evening show.
pub const SECOND_ACT_EVENING_CALL: &str = "19:30";

/// The sheet `season`.
pub const SETTINGS: &[(&str, &str)] = &[
    ("version", "1"),
    ("name", "The Paper Comet"),
    ("school", "Ashlarmere School of Dance"),
    ("zone", "Europe/London"),
    ("country", "GB"),
    ("language", "en"),
    ("telephone", "01632 960100"),
    ("short name", "AshlarDance"),
    ("named lead", "Mara Holt"),
    ("named lead telephone", "01632 960101"),
    ("messages from", "08:00"),
    ("messages until", "20:30"),
    ("merge minutes", "60"),
    // How often is common practice, no source.
    ("chaperone digest", "Mondays and Thursdays at 18:00"),
    ("coordinator digest", "daily at 18:00"),
    ("quick change below", "3"),
    ("settled by", "any guardian"),
    ("given names in messages", "yes"),
    ("walking feet per second", "3.0"),
    ("children per adult", "12"),
    ("chaperones bring", "Badge, pen, dark clothes and quiet shoes"),
];

/// Where the dress rehearsal and the shows are.
pub const THEATRE: &str = "Gantry Playhouse";

/// The sheet `places`.
pub const PLACES: &[Cells] = &[
    &[
        ("ref", "P001"),
        ("name", THEATRE),
        ("door", "the stage door in Saddlers Row"),
        ("collect at", "the yard gate in Saddlers Row"),
        ("sign-in minutes", "5"),
    ],
    &[
        ("ref", "P002"),
        ("name", "Weirside Studios"),
        ("door", "the glass door beside the weir"),
        ("sign-in minutes", "5"),
    ],
];

/// Where the quick changes are made.
pub const QUICK_CHANGE_ROOM: &str = "Wing booth";
/// Where those wait who begin with a production number.
pub const PRODUCTION_ROOM: &str = "Chorus room";
/// Where the children of each age band wait, from the youngest.
pub const BAND_ROOMS: [&str; 6] = [
    "Low gallery",
    "Paint loft",
    "Old scene dock",
    "Long room",
    "Upper dressing room",
    "Attic dressing room",
];

/// The sheet `rooms`.
pub const ROOMS: &[Cells] = &[
    &[
        ("place", THEATRE),
        ("name", BAND_ROOMS[0]),
        ("children", "45"),
        ("notes", "nearest to the lavatories"),
    ],
    &[("place", THEATRE), ("name", BAND_ROOMS[1]), ("children", "70")],
    &[("place", THEATRE), ("name", BAND_ROOMS[2]), ("children", "80")],
    &[("place", THEATRE), ("name", BAND_ROOMS[3]), ("children", "90")],
    &[("place", THEATRE), ("name", BAND_ROOMS[4]), ("children", "50")],
    &[("place", THEATRE), ("name", BAND_ROOMS[5]), ("children", "30")],
    &[("place", THEATRE), ("name", PRODUCTION_ROOM), ("children", "60")],
    &[("place", THEATRE), ("name", QUICK_CHANGE_ROOM), ("children", "6"), ("quick change", "yes")],
];

/// The sheet `ways`.
pub const WAYS: &[Cells] = &[
    &[("place", THEATRE), ("from", "Cattle Market car park"), ("walk minutes", "12-18")],
    &[("place", THEATRE), ("from", "Millbridge tram stop"), ("walk minutes", "8")],
    &[("place", THEATRE), ("from", "Priory Lane bus stop"), ("walk minutes", "4-6")],
    &[("place", "Weirside Studios"), ("from", "Weir Street car park"), ("walk minutes", "5-7")],
];

/// The sheet `events`; the generator adds the announced ends of shows and photographs.
pub const EVENTS: &[Cells] = &[
    &[
        ("ref", "E001"),
        ("name", PHOTOGRAPHS),
        ("kind", "photographs"),
        ("place", "Weirside Studios"),
        ("date", "2027-02-27"),
        ("call", "09:35"),
        ("starts", "10:00"),
        ("dismissal", "after own last number"),
        ("arrive ready", "first costume on, hair up, light make-up"),
        ("bring", "other costumes on hangers, hair grips"),
        ("leave at home", "jewellery"),
        ("adults may watch", "yes"),
    ],
    &[
        ("ref", "E002"),
        ("name", STUDIO),
        ("kind", "rehearsal"),
        ("place", "Weirside Studios"),
        ("date", "2027-03-07"),
        ("call", "13:45"),
        ("starts", "14:00"),
        ("ends", "16:00"),
        ("numbers", "Market Morning; The Harbour Fair"),
        ("arrive ready", "practice clothes, hair tied back"),
        ("bring", "water, shoes for your number"),
        ("adults may watch", "no"),
    ],
    &[
        ("ref", "E003"),
        ("name", DRESS),
        ("kind", "dress rehearsal"),
        ("place", THEATRE),
        ("date", "2027-03-25"),
        ("call", "17:00"),
        ("starts", "18:00"),
        ("dismissal", "after the last number"),
        ("arrive ready", "first costume on, hair and make-up done"),
        ("bring", "water, a plain snack, a warm layer"),
        ("leave at home", "phones, toys, money"),
        ("adults may watch", "no"),
        ("turn-in", "yes"),
    ],
    &[
        ("ref", "E004"),
        ("name", MATINEE),
        ("kind", "show"),
        ("place", THEATRE),
        ("date", "2027-03-27"),
        ("call", "15:00"),
        ("starts", "16:00"),
        ("cast", MATINEE_CAST),
        ("dismissal", "after the last number"),
        ("arrive ready", "first costume on, hair and make-up done"),
        ("bring", "water, a plain snack, a warm layer"),
        ("leave at home", "phones, toys, money"),
    ],
    &[
        ("ref", "E005"),
        ("name", EVENING),
        ("kind", "show"),
        ("place", THEATRE),
        ("date", "2027-03-27"),
        ("call", "19:00"),
        ("starts", "20:00"),
        ("cast", EVENING_CAST),
        ("dismissal", "after the last number"),
        ("arrive ready", "first costume on, hair and make-up done"),
        ("bring", "water, a plain snack, a warm layer"),
        ("leave at home", "phones, toys, money"),
    ],
    &[
        ("ref", "E006"),
        ("name", CLOCK_CHANGE_SHOW),
        ("kind", "show"),
        ("place", THEATRE),
        ("date", "2027-03-28"),
        ("call", "13:20"),
        ("starts", "14:30"),
        ("dismissal", "after the last number"),
        ("arrive ready", "first costume on, hair and make-up done"),
        ("bring", "water, a plain snack, a warm layer, every costume you have"),
        ("leave at home", "phones, toys, money"),
    ],
];

/// One house rule: name, event (empty for the season), English, Spanish.
pub const HOUSE_RULES: &[(&str, &str, &str, &str)] = &[
    (
        "Stay with the chaperone",
        "",
        "Your child stays with the chaperone from sign-in to sign-out. Adults do not come backstage.",
        "Su hijo o hija está con su acompañante desde la entrada hasta la salida. Los adultos no pasan detrás del escenario.",
    ),
    (
        "No early release",
        "",
        "Nobody leaves before the last number, for every child's safety. Please do not ask at the door.",
        "Nadie se va antes del último número, por la seguridad de todos. Por favor, no lo pida en la puerta.",
    ),
    (
        "Food",
        "",
        "Water and plain snacks only. No nuts, and no sharing of food.",
        "Solo agua y algo sencillo de comer. Sin frutos secos. La comida no se comparte.",
    ),
    (
        "Closed rehearsal",
        DRESS,
        "The dress rehearsal is closed. Adults wait outside, and nobody films or takes pictures.",
        "El ensayo general es a puerta cerrada. Los adultos esperan fuera y nadie graba ni hace fotos.",
    ),
    (
        "Costume turn-in",
        DRESS,
        "A quick-change costume is handed to our team after the dress rehearsal. We tell you if your child has one.",
        "El traje de un cambio rápido se entrega a nuestro equipo al final del ensayo general. Le avisamos si es su caso.",
    ),
];

/// One notice: name, about, to, counted from, days before, at, by, answer owed, wording; and what it rests on.
pub type NoticeLine = ([&'static str; 9], &'static [Ground]);

/// Quick-change costumes.
const BEFORE_IT_IS_NEEDED: Ground =
    Ground::Practice("A costume that has to be handed in is asked for while there is time to wash it");

/// The notices: each guardian gets about ten to sixteen messages over the season.
// A table: one line a notice is what makes it readable.
#[rustfmt::skip]
pub const NOTICES: &[NoticeLine] = &[
    (["House rules and all dates", "season", "everyone", "first show", "42", "18:00", "mail", "yes", "rules"], &[NEWS_BY_MAIL, PRIMER]),
    (["House rules, reminder", "season", "not heard from", "first show", "35", "18:00", "text", "yes", "reminder"], &[TEXT_BESIDE_MAIL]),
    (["Photographs, call sheet", "photographs", "everyone", "call", "7", "18:00", "mail", "yes", "call-sheet"], &[IN_ADVANCE]),
    (["Photographs, the evening before", "photographs", "everyone", "call", "1", "17:00", "text", "no", "eve"], &[THREE_AND_ONE, WITHIN_THE_HOUR]),
    (["Studio run, call sheet", "rehearsal", "everyone", "call", "7", "18:00", "mail", "yes", "call-sheet"], &[IN_ADVANCE]),
    (["Studio run, the evening before", "rehearsal", "everyone", "call", "1", "17:00", "text", "no", "eve"], &[THREE_AND_ONE, WITHIN_THE_HOUR]),
    (["Chaperones, photographs", "photographs", "chaperones", "call", "10", "10:00", "mail", "yes", "duty"], &[DUTIES_FIRST]),
    (["Chaperones, photographs, the day before", "photographs", "chaperones", "call", "1", "12:00", "text", "no", "duty"], &[DAY_BEFORE_DUTY]),
    (["Chaperones, studio run", "rehearsal", "chaperones", "call", "10", "10:00", "mail", "yes", "duty"], &[DUTIES_FIRST]),
    (["Chaperones, studio run, the day before", "rehearsal", "chaperones", "call", "1", "12:00", "text", "no", "duty"], &[DAY_BEFORE_DUTY]),
    (["Dress rehearsal, call sheet", "dress rehearsal", "everyone", "first show", "14", "10:00", "mail and text", "yes", "call-sheet"], &[IN_ADVANCE]),
    (["Shows, call sheet", "show", "everyone", "first show", "14", "10:00", "mail and text", "yes", "call-sheet"], &[IN_ADVANCE]),
    (["Dress rehearsal, a week to go", "dress rehearsal", "not heard from", "first show", "7", "18:00", "text", "yes", "reminder"], &[WRITE_IT_DOWN, WEEK_THREE_ONE]),
    (["Shows, a week to go", "show", "not heard from", "first show", "7", "18:00", "text", "yes", "reminder"], &[WRITE_IT_DOWN, WEEK_THREE_ONE]),
    (["Dress rehearsal, three days to go", "dress rehearsal", "not heard from", "call", "3", "18:00", "text", "yes", "reminder"], &[THREE_AND_ONE_AT_RISK]),
    (["Quick-change costumes", "dress rehearsal", "turn-in", "call", "2", "18:00", "text", "yes", "turn-in"], &[BEFORE_IT_IS_NEEDED]),
    (["Shows, three days to go", "show", "not heard from", "first show", "3", "17:00", "text", "yes", "reminder"], &[THREE_AND_ONE_AT_RISK]),
    (["Dress rehearsal, the evening before", "dress rehearsal", "everyone", "call", "1", "17:00", "text", "no", "eve"], &[THREE_AND_ONE, WITHIN_THE_HOUR]),
    (["Shows, the evening before", "show", "everyone", "call", "1", "17:00", "text", "no", "eve"], &[THREE_AND_ONE, WITHIN_THE_HOUR]),
    (["Chaperones, dress rehearsal", "dress rehearsal", "chaperones", "first show", "21", "10:00", "mail", "yes", "duty"], &[DUTIES_FIRST]),
    (["Chaperones, shows", "show", "chaperones", "first show", "21", "10:00", "mail", "yes", "duty"], &[DUTIES_FIRST]),
    (["Chaperones, dress rehearsal, a week to go", "dress rehearsal", "chaperones not heard from", "first show", "7", "12:00", "text", "yes", "duty"], &[OTHER_CHANNEL]),
    (["Chaperones, shows, a week to go", "show", "chaperones not heard from", "first show", "7", "12:00", "text", "yes", "duty"], &[OTHER_CHANNEL]),
    (["Chaperones, dress rehearsal, the day before", "dress rehearsal", "chaperones", "call", "1", "12:00", "text", "no", "duty"], &[DAY_BEFORE_DUTY]),
    (["Chaperones, shows, the day before", "show", "chaperones", "call", "1", "12:00", "text", "no", "duty"], &[DAY_BEFORE_DUTY]),
    // Names before faces, and again when they are about to meet.
    (["Meet your chaperone", "show", "everyone", "first show", "35", "10:00", "mail", "no", "introduction"], &[NAMES_BEFORE_FACES]),
    (["Meet your chaperone, show week", "show", "everyone", "first show", "6", "10:00", "mail", "no", "introduction"], &[NAMES_BEFORE_FACES]),
];

/// The columns that the cells of a [`NoticeLine`] fill.
pub const NOTICE_COLUMNS: [&str; 9] =
    ["name", "about", "to", "counted from", "days before", "at", "by", "answer owed", "wording"];
