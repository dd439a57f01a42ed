import { Router } from 'express'
import { html } from './html.ts'
import { accessPage } from '../access/access-page.ts'
import { sendPage } from './send-page.ts'

/** What only a clinician decides; README.md says the same. */
const NOT_DECIDED = [
  'whether a patient is to be tested: age, interval, hysterectomy, no cervix, immune status',
  'whether to collect while the patient bleeds',
  'whether to wait after a birth, a loss, a procedure, an infection or an earlier specimen',
  'anything in pregnancy',
  'bleeding after sex, between periods, after the menopause, or for more than eight days',
  'starting, stopping or keeping any medicine',
  'which kind of specimen is right',
  'putting off a visit that is not routine, or due, or has been moved as often as the clinic allows',
  'what a result means',
]

/**
 * `/cautions`: what Daysix is not, and who answers urgent replies when the desk does not. Shown to everybody.
 * @param cover the site's own words (ALARM_COVER); null = not said, which is possible outside production only.
 */
export function cautionsPage(cover: string | null): Router {
  const router = Router()
  router.get('/cautions', (_request, response) =>
    sendPage(
      response,
      200,
      accessPage(
        'Cautions',
        html`<ul>
<li>Daysix times and prepares specimens. It is not medical advice.</li>
<li>A forecast is never for contraception, nor for conceiving.</li>
<li>Local codes, the clinic's protocol, licensed practice and the laboratory's own directory prevail over everything it says.</li>
<li>Messages can fail, come late, or be read by somebody else. The call list shows who was not reached.</li>
<li>A text never tells anyone to stop prescribed medicine, and never says what a result may be.</li>
<li>A reply that may be an emergency goes to the top of the call list, and the patient is told where to turn. A person must watch that list.</li>
</ul>
<h2>What it does not decide</h2>
<p>These go to a clinician, and the visit stays until then:</p>
<ul>${NOT_DECIDED.map((what) => html`<li>${what}</li>`)}</ul>
<h2>Who answers urgent replies outside the desk's hours</h2>
<p>${cover ?? 'Not said yet. The service does not start in production before it is.'}</p>`,
      ),
    ),
  )
  return router
}
