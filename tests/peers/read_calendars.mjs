// Two more readers of calendars: takes a JSON list of iCalendar texts on standard input and prints, one JSON list a
// calendar, what one of them makes of each entry: item, UID, SEQUENCE, STATUS, start and end as UTC, and the instants
// at which its alarms ring.
//
//   node read_calendars.mjs ical.js|node-ical < calendars.json
import { readFileSync } from 'node:fs';
import ICAL from 'ical.js';
import nodeIcal from 'node-ical';

const utc = (date) => new Date(date).toISOString().replace('.000Z', 'Z');
const MINUTE = 60_000;

function byIcalJs(text) {
  const calendar = new ICAL.Component(ICAL.parse(text));
  return calendar.getAllSubcomponents('vevent').map((entry) => {
    const event = new ICAL.Event(entry);
    const alarms = entry.getAllSubcomponents('valarm').map((alarm) => {
      const at = event.startDate.clone();
      at.addDuration(alarm.getFirstPropertyValue('trigger'));
      return utc(at.toJSDate());
    });
    return {
      item: entry.getFirstPropertyValue('x-allheard-item'),
      uid: event.uid,
      sequence: event.sequence,
      status: entry.getFirstPropertyValue('status'),
      start: utc(event.startDate.toJSDate()),
      end: utc(event.endDate.toJSDate()),
      alarms,
    };
  });
}

/** Minutes of a duration such as -PT120M, which this reader hands over as text. */
function minutes(trigger) {
  const parts = /^(-?)PT(\d+)M$/.exec(trigger);
  if (!parts) throw new Error(`not read: ${trigger}`);
  return Number(parts[2]) * (parts[1] ? -1 : 1);
}

function byNodeIcal(text) {
  const entries = Object.values(nodeIcal.sync.parseICS(text)).filter((entry) => entry.type === 'VEVENT');
  return entries.map((entry) => ({
    item: entry['ALLHEARD-ITEM'] ?? entry['X-ALLHEARD-ITEM'],
    uid: entry.uid,
    sequence: Number(entry.sequence),
    status: entry.status,
    start: utc(entry.start),
    end: utc(entry.end),
    alarms: (entry.alarms ?? []).map((alarm) => utc(entry.start.getTime() + minutes(alarm.trigger) * MINUTE)),
  }));
}

const readers = { 'ical.js': byIcalJs, 'node-ical': byNodeIcal };
const read = readers[process.argv[2]];
if (!read) throw new Error(`no such reader: ${process.argv[2]}`);
for (const text of JSON.parse(readFileSync(0, 'utf8'))) console.log(JSON.stringify(read(text)));
