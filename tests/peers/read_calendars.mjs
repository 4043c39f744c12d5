// A second reader of calendars: takes a JSON list of iCalendar texts on standard input and prints, one JSON list a
// calendar, each entry's item and its start and end as UTC.
//
//   node read_calendars.mjs < calendars.json
import { readFileSync } from 'node:fs';
import ICAL from 'ical.js';

const seconds = (time) => time.toJSDate().toISOString().replace('.000Z', 'Z');
for (const text of JSON.parse(readFileSync(0, 'utf8'))) {
  const calendar = new ICAL.Component(ICAL.parse(text));
  const entries = calendar.getAllSubcomponents('vevent').map((entry) => {
    const event = new ICAL.Event(entry);
    return {
      item: entry.getFirstPropertyValue('x-allheard-item'),
      start: seconds(event.startDate),
      end: seconds(event.endDate),
    };
  });
  console.log(JSON.stringify(entries));
}
