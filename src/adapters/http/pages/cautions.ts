import { Router } from 'express'
import { html } from './html.ts'
import { accessPage, sendPage } from '../access/sign-in-pages.ts'

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
<li>An alarming reply goes to the top of the call list, and the patient is told where to turn. A person must watch that list.</li>
</ul>
<h2>Who answers urgent replies outside the desk's hours</h2>
<p>${cover ?? 'Not said yet. The service does not start in production before it is.'}</p>`,
      ),
    ),
  )
  return router
}
