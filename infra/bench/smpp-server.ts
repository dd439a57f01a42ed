// A message centre that accepts everything, in a process of its own so that it does not share the client's core.
import type { AddressInfo } from 'node:net'
import smpp from 'smpp'

let next = 1
const server = smpp.createServer((session) => {
  session.on('error', () => session.destroy())
  session.on('pdu', (pdu: smpp.PDU) => {
    if (pdu.command === 'submit_sm') session.send(pdu.response({ message_id: String(next++) }))
    else if (!pdu.isResponse()) session.send(pdu.response())
  })
})
server.listen(0, '127.0.0.1', () => process.send!((server.address() as AddressInfo).port))
process.on('disconnect', () => process.exit(0))
