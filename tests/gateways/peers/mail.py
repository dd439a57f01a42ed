#!/usr/bin/python3
# A mail server on Debian's aiosmtpd, which shares nothing with ours. What it does is told by the part of an address
# before the @, STAGE-WHAT: in the sender's for the stage `mail`, in the recipient's for
#   rcpt, data (the command), middle (of the content), content (all of it was taken).
# WHAT is a reply code, with an enhanced one behind a dot (550.5.1.8), or drop, silent, slow, twice. Everything else is
# accepted. It writes a JSON line for each letter it took, as Python's email package reads it.
#
#   PORT=36000 TLS=none|starttls|implicit CERT=… KEY=… LOGIN=user:password HIDE=AUTH ADD=PIPELINING GREETING=… mail.py
import asyncio, email, email.policy, json, os, re, ssl
from aiosmtpd.smtp import SMTP, AuthResult

env = os.environ.get


def say(**facts):
    print(json.dumps(facts), flush=True)


def plan(address, stage):
    found = re.match(r'(\w+)-([\w.]+)@', address or '')
    return found.group(2) if found and found.group(1) == stage else None


# The words behind a code hold what must never be kept: the address, a number, a name.
def refusal(what, address):
    code, _, enhanced = what.partition('.')
    return f'{code} {enhanced + " " if enhanced else ""}No {address} +16135550142 Ada Fenwick'


class Server(SMTP):
    async def behave(self, what, address):
        """None: nothing was said yet. False: the connection has ended."""
        if what is None or what == 'slow' or what == 'twice':
            await asyncio.sleep(0.33 if what == 'slow' else 0)
            if what == 'twice':
                await self.push('250 OK')
            return None
        if what == 'drop':
            self.transport.abort()
            return False
        if what == 'silent':
            await asyncio.sleep(3600)
        return refusal(what, address)

    async def push(self, status):
        greeting = env('GREETING')
        if greeting and str(status).startswith('220 ') and not getattr(self, 'greeted', False):
            self.greeted = True
            if greeting in ('drop', 'silent'):
                return await self.behave(greeting, '')
            return await super().push(greeting)
        await super().push(status)

    async def smtp_DATA(self, arg):
        to = (self.envelope.rcpt_tos or [''])[0]
        refused = await self.behave(plan(to, 'data'), to)
        if refused is not None:
            return refused and await self.push(refused)
        middle = plan(to, 'middle')
        if middle:
            await self.push('354 go on')
            await self._reader.readuntil(b'\r\n')
            return await self.behave(middle, to)
        await super().smtp_DATA(arg)


class Handler:
    async def handle_EHLO(self, server, session, envelope, hostname, responses):
        session.host_name = hostname
        hidden = (env('HIDE') or '').split()
        kept = [each for each in responses if not any(word in each for word in hidden)]
        return kept[:-1] + [f'250-{word}' for word in (env('ADD') or '').split()] + kept[-1:]

    async def handle_MAIL(self, server, session, envelope, address, options):
        refused = await server.behave(plan(address, 'mail'), address)
        if refused is not None:
            return refused or '421 gone'
        envelope.mail_from = address
        return '250 OK'

    async def handle_RCPT(self, server, session, envelope, address, options):
        refused = await server.behave(plan(address, 'rcpt'), address)
        if refused is not None:
            return refused or '421 gone'
        envelope.rcpt_tos.append(address)
        return '250 OK'

    async def handle_DATA(self, server, session, envelope):
        to = envelope.rcpt_tos[0]
        what = plan(to, 'content')
        if not (what and what[0].isdigit()):
            took(server, session, envelope)
        refused = await server.behave(what, to)
        return refused if refused else '250 2.0.0 OK'


def took(server, session, envelope):
    letter = email.message_from_bytes(envelope.content, policy=email.policy.default)
    say(
        event='took',
        sender=envelope.mail_from,
        to=envelope.rcpt_tos,
        secure=session.ssl is not None or env('TLS') == 'implicit',
        login=session.authenticated,
        # E-mail ends its lines with CRLF (RFC 5322 2.3).
        text=letter.get_content().replace('\r\n', '\n'),
        type=letter.get_content_type(),
        headers=[[name, str(value)] for name, value in letter.items()],
        wire=envelope.content.decode('ascii'),
    )


def check(server, session, envelope, mechanism, data):
    known = f'{data.login.decode()}:{data.password.decode()}' == env('LOGIN')
    say(event='login', ok=known)
    return AuthResult(success=known, handled=False)


def context():
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    made.load_cert_chain(env('CERT'), env('KEY'))
    return made


async def main():
    tls = env('TLS') or 'none'
    secure = context() if tls != 'none' else None
    options = {'hostname': 'mail.example', 'auth_require_tls': tls == 'starttls'}
    if env('LOGIN'):
        options.update(authenticator=check, auth_required=True)
    if tls == 'starttls':
        options.update(tls_context=secure, require_starttls=True)
    make = lambda: Server(Handler(), **options)
    loop = asyncio.get_running_loop()
    server = await loop.create_server(make, '127.0.0.1', int(env('PORT')), ssl=secure if tls == 'implicit' else None)
    say(event='listening')
    await server.serve_forever()


asyncio.run(main())
