/** What was just done, by code: an address carries the code, so that nobody can put words of his own on our pages. */
const FLASH: Record<string, string> = {
  booked: 'The visit is booked.',
  ended: 'How the visit ended is recorded.',
  'end-undone': 'How the visit ended is taken back.',
  moved: 'The visit is moved. The patient is told by text, if the patient agreed to texts.',
  cancelled: 'The visit is cancelled. The patient is told, if the patient agreed to messages.',
  'page-sent': 'The address of the page is on its way to the patient.',
  amended: 'The changes are kept. The plan was made anew.',
  closed: 'The outcome is recorded.',
  'closed-many': 'The outcome is recorded for each of those chosen.',
  tried: 'The call is noted. The patient stays on the list.',
  reopened: 'It is on the list again.',
  approved: 'The move is approved. The patient is told.',
  'approved-gone': 'The time could not be had any more: the visit stays. Call the patient; it is on the list.',
  declined: 'The move is declined. The patient is told that the clinic calls.',
  'openings-added': 'The openings are added.',
  'openings-known': 'All of these times existed already; nothing was added.',
  'day-closed': 'The day is closed: its free openings are gone. Held and booked times stay.',
  removed: 'The opening is removed.',
  corrected: 'The meaning is corrected, and what follows from it is done.',
  written: 'The message is on its way.',
  waiting: 'The message will go when sending hours begin.',
  'feed-settled': 'Everything that waited is done.',
  'feed-waits': 'It was tried again. Some visits wait on: the call list says why.',
  'near-miss-recorded': 'It is recorded.',
  'near-miss-reviewed': 'What was changed is recorded.',
  'sending-stopped': 'All sending is stopped.',
  'sending-resumed': 'Sending goes on.',
  'clinic-kept': 'The clinic is saved. What is sent from now on goes by these settings.',
  'person-out': 'Nobody signs in under that name any more, and all its sessions have ended.',
  'key-revoked': 'The key is revoked: it opens nothing any more.',
  'texts-approved': 'The approval is recorded. It takes effect when the service is started again.',
}

export function flashWords(code: string | undefined): string | null {
  return (code !== undefined && FLASH[code]) || null
}
