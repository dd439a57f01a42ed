import { html, type Html } from '../pages/html.ts'
import type { PageContext } from './page-context.ts'

/** Beside the call list's name. */
export function callCount({ calls: { entries } }: PageContext): Html {
  return html`<span id="call-count" data-watched="${entries}">${
    entries > 0 && html` <span class="count">${entries}<span class="unseen"> open</span></span>`
  }</span>`
}

/** Where somebody is to be called now, on whatever page the desk is; in words and by a mark, not by colour alone. */
export function alarmBand({ calls: { alarms }, at }: PageContext): Html {
  return html`<div id="alarms" role="status" data-watched="${alarms}">${
    alarms > 0 &&
    html`<p class="alarms"><span aria-hidden="true">▲</span> <b>${alarms === 1 ? '1 alarm' : `${alarms} alarms`}</b>:
<a href="${at('calls')}">call now</a></p>`
  }</div>`
}

/** Off until somebody at this browser wants it; nothing of it is kept here. */
export function soundChoice(): Html {
  return html`<p class="sound" hidden><label class="plain"><input type="checkbox" data-sound> Sound in this browser when
an alarm comes</label></p>`
}
