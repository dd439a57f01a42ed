// A message network that accepts everything at once: in a process of its own, so that it takes no time from those who
// send.
import { createServer } from 'node:http'

const server = createServer((request, response) => {
  request.resume().on('end', () => response.writeHead(200, { 'Content-Type': 'application/json' }).end('{"ref":"r"}'))
})
server.keepAliveTimeout = 60_000
server.listen(0, '127.0.0.1', () => process.send?.((server.address() as { port: number }).port))
process.on('disconnect', () => process.exit(0))
