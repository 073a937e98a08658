"""Settings, read from the environment.

Every variable has a safe default, so that a fresh clone runs; the README lists them all.
"""

import os
import secrets
from datetime import timedelta
from pathlib import Path

import environ
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

BASE_DIR = Path(__file__).resolve().parent.parent.parent

env = environ.Env()

DEBUG = env.bool("DEBUG", default=False)

# What any command of the service writes is for the user who runs it alone.
os.umask(0o077)

# Where the database, the session key and written documents live by default.
DATA_DIR = Path(env.str("DATA_DIR", default=str(BASE_DIR / "var")))
DOCUMENTS_DIR = DATA_DIR / "documents"
# Where attached files are kept, under random names; a backup takes this folder along.
FILES_DIR = Path(env.str("FILES_DIR", default=str(DATA_DIR / "files")))
# Where backups are written; with a passphrase, those of each night are sealed by it.
BACKUP_DIR = Path(env.str("BACKUP_DIR", default=str(DATA_DIR / "backups")))
BACKUP_PASSPHRASE = env.str("BACKUP_PASSPHRASE", default="")
# Where `manage.py serve` writes its log; "none" writes it to the screen instead.
LOG_DIR = env.str("LOG_DIR", default=str(DATA_DIR / "logs"))


def _secret_key() -> str:
    """Return SECRET_KEY, or make one on first use and keep it beside the database."""
    if key := env.str("SECRET_KEY", default=""):
        return key
    path = DATA_DIR / "secret_key"
    if not path.exists():
        DATA_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(50))
    if key := path.read_text().strip():
        return key
    raise ImproperlyConfigured(f"The key file {path} is empty: delete it, or set SECRET_KEY.")


SECRET_KEY = _secret_key()

# What this machine alone reaches the site by.
LOCAL_HOSTS = ["localhost", "127.0.0.1", "[::1]"]
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=LOCAL_HOSTS)
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])

# Set HTTPS=true behind a proxy that ends TLS and sends X-Forwarded-Proto. `manage.py serve`
# believes that header only from the proxy at this IP address.
HTTPS = env.bool("HTTPS", default=False)
TRUSTED_PROXY = env.str("TRUSTED_PROXY", default="127.0.0.1")
SECURE_SSL_REDIRECT = SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
# A monitor on this machine asks without HTTPS; the answer tells nothing.
SECURE_REDIRECT_EXEMPT = [r"^health/$"]
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
# With names that begin like this, a browser takes cookies from this site over HTTPS alone, and not
# from another one under the same domain.
COOKIE_PREFIX = "__Host-" if HTTPS else ""
SESSION_COOKIE_NAME = f"{COOKIE_PREFIX}sessionid"
CSRF_COOKIE_NAME = f"{COOKIE_PREFIX}csrftoken"
if HTTPS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
# A house's domain may carry other sites: speaking for them, or for the browsers' preload list, is
# their owner's choice.
# The page to sign in says itself that a name is locked, and needs no middleware of axes for it.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021", "axes.W002"]
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_ENGINE = "apiary_sales.accounts.session_store"
# Longer than anybody stays signed in: the service itself ends a session, by the person's role (see
# `accounts/rules.py`).
SESSION_COOKIE_AGE = 60 * 60 * 24 * 90
# A demo beside a house has this file in its own DATA_DIR. Both are reached by the same name, and a
# browser would take the cookie of one for that of the other.
DEMO_MARK = "this-is-the-demo.txt"
if (DATA_DIR / DEMO_MARK).exists():
    SESSION_COOKIE_NAME = f"{COOKIE_PREFIX}demo_sessionid"

# Bytes. The longest form and the longest call of the API are far below it; a middleware refuses
# longer bodies, apart from files.
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
# Bytes of a body with files. `manage.py serve` refuses longer bodies of any kind before they are
# read. It is twice the largest file that is accepted, so that the form itself can say so of a file
# that is somewhat too large.
BODY_WITH_FILES_MAX_SIZE = 20_000_000
# Every form has one file at most.
DATA_UPLOAD_MAX_NUMBER_FILES = 5

INSTALLED_APPS = [
    # First: of two commands of one name, that of the earlier app runs.
    "apiary_sales.accounts.ahead_of_django",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "auditlog",
    "axes",
    "django_htmx",
    "rest_framework",
    "knox",
    "drf_spectacular",
    "django_tasks",
    "django_tasks_db",
    "inventory",
    "apiary_sales.accounts",
    "apiary_sales.customers",
    "apiary_sales.pricing",
    "apiary_sales.orders",
    "apiary_sales.billing",
    "apiary_sales.mailing",
    "apiary_sales.imports",
    "apiary_sales.webhooks",
    "apiary_sales.planning",
    "apiary_sales.reports",
    "apiary_sales.finding",
    "apiary_sales.keeping",
    "apiary_sales.web",
    "apiary_sales.api",
]

MIDDLEWARE = [
    "apiary_sales.web.requests_log.RequestLogMiddleware",
    "apiary_sales.api.middleware.ApiProblemsMiddleware",
    "django.middleware.security.SecurityMiddleware",
    # Before what answers by itself, so that every answer carries them.
    "apiary_sales.web.middleware.ContentSecurityPolicyMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "apiary_sales.web.middleware.StaticFilesMiddleware",
    "apiary_sales.web.middleware.CompressedPagesMiddleware",
    "apiary_sales.web.middleware.PublicPagesMiddleware",
    "apiary_sales.web.middleware.LongBodyMiddleware",
    "inventory.shared.middleware.ConventionsMiddleware",
    "apiary_sales.web.middleware.HouseSessionMiddleware",
    "apiary_sales.accounts.middleware.SeenMiddleware",
    "apiary_sales.accounts.middleware.PrivateAnswersMiddleware",
    "inventory.shared.middleware.HouseLocaleMiddleware",
    "apiary_sales.api.middleware.ApiRequestMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "apiary_sales.accounts.middleware.PersonMiddleware",
    "apiary_sales.web.middleware.FirstHourMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "apiary_sales.accounts.middleware.SecondStepMiddleware",
    "auditlog.middleware.AuditlogMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "apiary_sales.accounts.middleware.OwnPasswordMiddleware",
    "apiary_sales.accounts.middleware.TooBusyMiddleware",
    "apiary_sales.web.middleware.FullQueueMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "apiary_sales.web.middleware.NullCharacterMiddleware",
    "apiary_sales.web.middleware.PlainTextMiddleware",
    "apiary_sales.web.middleware.HugeKeyMiddleware",
    "apiary_sales.web.middleware.SentFormMiddleware",
    # Last, so that all others ask the primary.
    "apiary_sales.web.replica_readings.ReplicaMiddleware",
]

ROOT_URLCONF = "apiary_sales.urls"
WSGI_APPLICATION = "apiary_sales.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "django.template.context_processors.i18n",
                "apiary_sales.web.context_processors.navigation",
                "inventory.stock.context_processors.moisture_limit",
            ],
            "builtins": ["inventory.shared.templatetags.quantities"],
            "libraries": {
                "emails": "apiary_sales.mailing.templatetags.emails",
                "files": "inventory.shared.templatetags.files",
                "honey": "inventory.shared.templatetags.honey",
                "jars": "inventory.bottling.templatetags.jars",
                "lists": "inventory.shared.templatetags.lists",
                "moisture": "inventory.stock.templatetags.moisture",
            },
        },
    },
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

SQLITE_OPTIONS = {
    # Immediate: a writer takes its lock at the start, so read-then-write never fails half-way.
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    # FULL: an acknowledged sale survives a power cut. Secure delete: what a customer wants erased
    # is overwritten in the file.
    "init_command": (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; "
        "PRAGMA busy_timeout=20000; PRAGMA cache_size=-20000; PRAGMA secure_delete=ON;"
    ),
}

# Seconds after which PostgreSQL and a machine that serves it give each other up, where the network
# between them is lost and neither is told. See `inventory/shared/lost_network.py`.
LOST_AFTER_SECONDS = env.int("LOST_AFTER_SECONDS", default=30)
if not 6 <= LOST_AFTER_SECONDS <= 3_600:
    raise ImproperlyConfigured("Set LOST_AFTER_SECONDS to a number of seconds from 6 to 3600.")
LOST_NETWORK = {
    "connect_timeout": 10,
    "keepalives_idle": LOST_AFTER_SECONDS // 2,
    "keepalives_interval": LOST_AFTER_SECONDS // 6,
    "keepalives_count": 3,
    "tcp_user_timeout": LOST_AFTER_SECONDS * 1_000,
}

DATABASES = {
    "default": env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'honey.sqlite3'}")
}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # Its writers take turns.
    DATABASES["default"]["ENGINE"] = "inventory.shared.fair_sqlite"
    DATABASES["default"].setdefault("OPTIONS", {}).update(SQLITE_OPTIONS)
    Path(DATABASES["default"]["NAME"]).parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    # Kept from one request to the next: opening the file reads the whole schema, and closing the
    # last connection writes all that is new into it, which take longer than most answers. A new
    # one after an hour plans by what the nightly work counted.
    DATABASES["default"]["CONN_MAX_AGE"] = 3_600
else:
    DATABASES["default"] |= {"CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True}
    DATABASES["default"]["OPTIONS"] = LOST_NETWORK | DATABASES["default"].get("OPTIONS", {})
# A streaming replica of PostgreSQL, which lists, reports, search and the API's readings are read
# from while it is at most so many seconds late.
REPLICA_LAG_SECONDS = env.int("REPLICA_LAG_SECONDS", default=5)
if not 1 <= REPLICA_LAG_SECONDS <= 3_600:
    raise ImproperlyConfigured("Set REPLICA_LAG_SECONDS to a number of seconds from 1 to 3600.")
if env.str("DATABASE_REPLICA_URL", default=""):
    DATABASES["replica"] = env.db_url("DATABASE_REPLICA_URL")
    if {each["ENGINE"] for each in DATABASES.values()} != {"django.db.backends.postgresql"}:
        raise ImproperlyConfigured(
            "DATABASE_REPLICA_URL is for a replica of PostgreSQL, with DATABASE_URL on its primary."
        )
    DATABASES["replica"] |= {"CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True}
    DATABASES["replica"]["OPTIONS"] = {
        # Who reads waits so long for a lost replica, before the primary is asked: five seconds.
        "connect_timeout": 2,
        "keepalives_idle": 2,
        "keepalives_interval": 1,
        "keepalives_count": 3,
        "tcp_user_timeout": 5_000,
        **DATABASES["replica"].get("OPTIONS", {}),
    }
# How many processes of `manage.py serve` answer requests on PostgreSQL; empty: one for each core.
PROCESSES = env.str("PROCESSES", default="")
# What the public pages of jars keep for a minute: pages, and how often each visitor asked.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache",
        "OPTIONS": {"MAX_ENTRIES": 5_000},
    }
}
# Work that an answer does not wait for. It is a row of the database, written in the transaction of
# the act that wants it done; `manage.py serve` does it.
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
# The keys of programs are rows of ours: the table that knox would make has no use.
KNOX_TOKEN_MODEL = "accounts.ApiToken"
MIGRATION_MODULES = {"knox": None}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "accounts.User"
LOGIN_URL = "accounts:sign_in"
LOGIN_REDIRECT_URL = "web:today"
LOGOUT_REDIRECT_URL = "accounts:signed_out"
AUTHENTICATION_BACKENDS = [
    "apiary_sales.accounts.locks.LockBackend",
    "apiary_sales.accounts.permissions.RoleBackend",
    "django.contrib.auth.backends.ModelBackend",
]
# The first hashes new passwords. As long as a try takes on a processor, and as little memory.
PASSWORD_HASHERS = ["apiary_sales.accounts.hashing.BoundedPasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "apiary_sales.accounts.password_rules.HouseNamesValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]

# Wrong passwords are counted by `axes`, which `accounts/locks.py` tells how and for how long. It
# keeps neither a name nor anything else that was typed, and has no log or pages of its own.
AXES_HANDLER = "apiary_sales.accounts.locks.HouseLocks"
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"], "username", "ip_address"]
AXES_USERNAME_CALLABLE = "apiary_sales.accounts.locks.name_of"
AXES_CLIENT_IP_CALLABLE = "apiary_sales.accounts.locks.network_of"
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# Seconds that a link for a new password works: long enough to find the e-mail.
PASSWORD_RESET_TIMEOUT = 4 * 60 * 60

LANGUAGE_CODE = env.str("LANGUAGE_CODE", default="en-us")
LANGUAGES = [("en", _("English")), ("es", _("Spanish"))]
LOCALE_PATHS = [
    BASE_DIR / "apiary_sales" / "locale",
    # What Django and REST framework say, in the house's own words.
    BASE_DIR / "apiary_sales" / "locale_libraries",
]
TIME_ZONE = env.str("TIME_ZONE", default="America/Chicago")
USE_I18N = True
USE_TZ = True
# With which decimal sign a new house writes and reads numbers, in every language. The other of the
# two groups thousands.
DECIMAL_SEPARATOR = env.str("DECIMAL_SIGN", default=".")
if DECIMAL_SEPARATOR not in (".", ","):
    raise ImproperlyConfigured(f'Set DECIMAL_SIGN to "." or ",": "{DECIMAL_SEPARATOR}" is neither.')
THOUSAND_SEPARATOR = "," if DECIMAL_SEPARATOR == "." else "."
NUMBER_GROUPING = 3
USE_THOUSAND_SEPARATOR = True
FORMAT_MODULE_PATH = ["apiary_sales.formats"]

# How e-mails leave the house. By default none does: each is written to a file of its own.
_EMAIL = env.email_url("EMAIL_URL", default="filemail:")
EMAIL_BACKEND = _EMAIL["EMAIL_BACKEND"]
EMAIL_HOST = _EMAIL["EMAIL_HOST"] or "localhost"
EMAIL_HOST_USER = _EMAIL["EMAIL_HOST_USER"] or ""
EMAIL_HOST_PASSWORD = _EMAIL["EMAIL_HOST_PASSWORD"] or ""
EMAIL_USE_TLS = _EMAIL.get("EMAIL_USE_TLS", False)
EMAIL_USE_SSL = _EMAIL.get("EMAIL_USE_SSL", False)
EMAIL_PORT = _EMAIL["EMAIL_PORT"] or (465 if EMAIL_USE_SSL else 587 if EMAIL_USE_TLS else 25)
EMAIL_FILE_PATH = _EMAIL["EMAIL_FILE_PATH"] or str(DATA_DIR / "e-mails")
# Seconds that a mail server may take to answer.
EMAIL_TIMEOUT = 30
# The address that e-mails come from; without it, the one in the house's details.
EMAIL_FROM = env.str("EMAIL_FROM", default="")

# ISO 4217. One house keeps its books in one currency; this is what a new one begins with.
CURRENCY = env.str("CURRENCY", default="USD")

# Who changed what in all that is not a posting: those keep their own who and when.
# Values are compared as what they are, so that 32 and 32.0 are no change.
AUDITLOG_STORE_JSON_CHANGES = True
# What a row pointed at is kept by its name, as it was called then.
AUDITLOG_USE_FK_STRING_REPRESENTATION = True
AUDITLOG_DISABLE_REMOTE_ADDR = True
AUDITLOG_INCLUDE_TRACKING_MODELS = [
    {"model": "accounts.User", "exclude_fields": ["id", "password", "last_login"]},
    {
        "model": "accounts.SecondStep",
        "exclude_fields": ["id", "sealed_key", "last_step", "devices_mark"],
    },
    {
        "model": "accounts.Passkey",
        "exclude_fields": ["id", "credential", "public_key", "sign_count", "used_at"],
    },
    {"model": "accounts.SecondStepRule", "exclude_fields": ["id"]},
    {
        "model": "webhooks.Endpoint",
        "exclude_fields": [
            "id",
            "sealed_secret",
            "sealed_old_secret",
            "failures",
            "failing_since",
            "rests_until",
        ],
    },
    *(
        {"model": model, "exclude_fields": ["id", "item", "idempotency_key"]}
        for model in (
            "billing.LedgerAccount",
            "inventory.House",
            "inventory.Supplier",
            "customers.Customer",
            "mailing.EmailText",
            "mailing.ReminderPlan",
            "customers.ExemptionCertificate",
            "pricing.PiecePrice",
            "pricing.PrivateLabel",
            "pricing.BulkPrice",
            "pricing.TaxRate",
            "pricing.GoodsCategory",
            "pricing.ProductTax",
            "pricing.ChannelCost",
            "pricing.FillingTime",
            "pricing.SeasonExpense",
            "pricing.WeightPrice",
            "pricing.Service",
            "planning.SeasonOutlook",
            "inventory.Place",
            "inventory.TankShape",
            "inventory.Size",
            "inventory.Product",
            "inventory.ProductPart",
            "inventory.BoxContent",
            "inventory.Variety",
            "inventory.Brand",
            "inventory.SizePart",
            "inventory.PackagingPart",
            "inventory.LabelSheet",
            "inventory.ProductionSettings",
            "inventory.JarPage",
            "inventory.CleaningTask",
        )
    ),
]

STATIC_URL = "static/"
# Served straight from the apps: nothing to collect before the first start. `manage.py serve` itself
# gives them names by their contents and compresses them.
WHITENOISE_USE_FINDERS = True
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "inventory.shared.static_files.StaticFiles"},
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "apiary_sales.api.authentication.ProgramAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["apiary_sales.api.permissions.SignedIn"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["apiary_sales.api.parsers.JSONParser"],
    "DEFAULT_PAGINATION_CLASS": "apiary_sales.api.pages.Pages",
    "DEFAULT_FILTER_BACKENDS": [
        "apiary_sales.api.lists.ListFilterBackend",
        "apiary_sales.api.lists.ListOrdering",
    ],
    "DEFAULT_SCHEMA_CLASS": "apiary_sales.api.operations.OperationSchema",
    "EXCEPTION_HANDLER": "apiary_sales.api.problems.problem_details",
    "PAGE_SIZE": 100,
    "COERCE_DECIMAL_TO_STRING": True,
    # What is answered is asked for by the Accept header alone.
    "URL_FORMAT_OVERRIDE": None,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Honey house",
    "DESCRIPTION": (
        "Honey in hand, bottling, selling and money of one honey house. Weights are whole grams. "
        "Prices by weight, in fields such as `price_per_pound` too, are of the house's own unit of "
        "weight, a pound or a kilogram, and amounts are in its currency."
    ),
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "COMPONENT_SPLIT_REQUEST": True,
    "SERVE_INCLUDE_SCHEMA": False,
    "GET_LIB_DOC_EXCLUDES": "apiary_sales.api.operations.not_described",
    "ENUM_NAME_OVERRIDES": {
        "LotKindEnum": "inventory.stock.models.Lot.Kind",
        "PartKindEnum": "inventory.bottling.models.PackagingPart.Kind",
        "PlaceKindEnum": "inventory.stock.models.Place.Kind",
        "ProductKindEnum": "inventory.bottling.models.Product.Kind",
        "ProductFormEnum": "inventory.bottling.models.Product.Form",
        "TankFormEnum": "inventory.stock.models.TankShape.Form",
        "SaleMarkKindEnum": "apiary_sales.billing.models.SaleMark.Kind",
        "PostingKindEnum": "inventory.stock.models.Posting.Kind",
        "OwnerChangeEnum": "apiary_sales.api.honey_in_hand.OWNER_CHANGES",
        "MeasurementWhatEnum": "inventory.stock.models.Measurement.What",
        "OrderStatusEnum": "apiary_sales.orders.models.Order.Status",
        "OrderChannelEnum": "apiary_sales.orders.models.Order.Channel",
        "SellingChannelEnum": "apiary_sales.pricing.models.ChannelCost.Channel",
        "AttachmentKindEnum": "inventory.shared.models.Attachment.Kind",
        "LongWorkStateEnum": "inventory.shared.models.long_work.LongWork.State",
        "CleaningKindEnum": "inventory.stock.models.CleaningTask.Kind",
        "MeasurementMethodEnum": "inventory.stock.models.Measurement.Method",
        "PaymentMethodEnum": "apiary_sales.billing.models.Payment.Method",
        "RecallKindEnum": "apiary_sales.orders.models.Recall.Kind",
        "StandCashKindEnum": "apiary_sales.billing.models.StandCash.Kind",
        "RunMeasuredByEnum": "apiary_sales.api.bottling.MEASURED_BY",
        "RunWeighedByEnum": "inventory.bottling.models.BottlingRun.DrawnBy",
        "SupplierKindEnum": "inventory.stock.models.Supplier.Kind",
        "OrderLineKindEnum": "apiary_sales.orders.models.OrderLine.Kind",
        "AdjustmentKindEnum": "apiary_sales.billing.models.Adjustment.Kind",
        "CertificateReasonEnum": "apiary_sales.customers.models.ExemptionCertificate.Reason",
        "WayOfPayingEnum": "apiary_sales.billing.models.Payment.WAYS",
        "TaxCategoryEnum": "apiary_sales.pricing.models.GoodsCategory.Category",
        "ExpenseCategoryEnum": "apiary_sales.billing.models.expenses.ExpenseCategory",
        "StandingOrderRhythmEnum": "apiary_sales.orders.trade_models.StandingOrder.Rhythm",
        "ExpenseRhythmEnum": "apiary_sales.billing.models.expenses.Rhythm",
        "TaxedGoodsEnum": "apiary_sales.pricing.models.TaxRate.Goods",
        "CustomerKindEnum": "apiary_sales.customers.models.Customer.Kind",
        "CustomerTierEnum": "apiary_sales.customers.models.Customer.Tier",
        "ImportKindEnum": "apiary_sales.imports.models.ImportKind",
        "LabelPaperEnum": "inventory.bottling.models.LabelSheet.Paper",
        "SeasonExpenseCategoryEnum": "apiary_sales.pricing.models.SeasonExpense.Category",
        "ServiceUnitEnum": "apiary_sales.pricing.models.Service.Unit",
    },
    "WEBHOOKS": ["apiary_sales.api.webhooks.TOLD"],
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "apiary_sales.api.schema.add_problems",
        "apiary_sales.api.versions.describe",
        "apiary_sales.api.schema.close_bodies",
        "apiary_sales.api.examples.add_examples",
        "apiary_sales.api.operations.name_subjects",
    ],
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "axes": {"level": "ERROR"},
        "fontTools": {"level": "ERROR"},
        "weasyprint": {"level": "ERROR"},
    },
}
