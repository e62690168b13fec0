"""A mail server of aiosmtpd.

Appends each mail that it takes to FOLDER/taken.ndjson. While FOLDER/hold
exists it takes in the text of a mail, appends it to FOLDER/held.ndjson, and
answers only once the file is gone. --answers is a JSON object: for an address
the answers to RCPT, one after the other, before it is taken. Prints "ready"
once it listens.
"""

import argparse
import asyncio
import email
import email.policy
import json
import os
import ssl

from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword


def arguments():
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--folder", required=True)
    parser.add_argument("--security", choices=["none", "starttls", "tls"], default="none")
    parser.add_argument("--cert")
    parser.add_argument("--key")
    parser.add_argument("--user")
    parser.add_argument("--password")
    parser.add_argument("--answers", default="{}")
    return parser.parse_args()


class Handler:
    def __init__(self, folder, answers):
        self.folder = folder
        self.answers = answers

    async def handle_RCPT(self, server, session, envelope, address, options):
        left = self.answers.get(address)
        if left:
            return left.pop(0)
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        mail = email.message_from_bytes(envelope.content, policy=email.policy.default)
        told = {
            "from": envelope.mail_from,
            "to": envelope.rcpt_tos,
            "id": mail["Message-ID"],
            "subject": mail["Subject"],
            "text": mail.get_content(),
            "encrypted": session.ssl is not None,
            "user": session.auth_data,
        }
        hold = os.path.join(self.folder, "hold")
        if os.path.exists(hold):
            self.note("held.ndjson", told)
            while os.path.exists(hold):
                await asyncio.sleep(0.02)
        self.note("taken.ndjson", told)
        return "250 taken"

    def note(self, name, told):
        with open(os.path.join(self.folder, name), "a", encoding="utf-8") as file:
            file.write(json.dumps(told) + "\n")


def server(given):
    context = None
    if given.security != "none":
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(given.cert, given.key)

    def authenticate(server, session, envelope, mechanism, data):
        good = isinstance(data, LoginPassword) and (
            data.login.decode() == given.user and data.password.decode() == given.password
        )
        return AuthResult(success=good, auth_data=given.user if good else None, handled=False)

    handler = Handler(given.folder, json.loads(given.answers))
    wants_login = given.user is not None

    def make():
        return SMTP(
            handler,
            hostname="invented",
            tls_context=context if given.security == "starttls" else None,
            require_starttls=given.security == "starttls",
            authenticator=authenticate if wants_login else None,
            auth_required=wants_login,
            # aiosmtpd knows of its own STARTTLS only.
            auth_require_tls=given.security == "starttls",
        )

    return make, context if given.security == "tls" else None


async def main():
    given = arguments()
    make, context = server(given)
    loop = asyncio.get_running_loop()
    await loop.create_server(make, "127.0.0.1", given.port, ssl=context)
    print("ready", flush=True)
    await asyncio.Event().wait()


asyncio.run(main())
