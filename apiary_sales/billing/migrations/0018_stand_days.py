import django.db.models.deletion
import django.db.models.expressions
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('billing', '0017_sales_of_earlier_receipts'),
        ('inventory', '0034_tips'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='cashcount',
            name='recorded_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        # Nobody knows when earlier counts were recorded, so they get no moment.
        migrations.AlterField(
            model_name='cashcount',
            name='recorded_at',
            field=models.DateTimeField(blank=True, default=django.utils.timezone.now, null=True),
        ),
        migrations.AddField(
            model_name='payment',
            name='on_top_cents',
            field=models.BigIntegerField(default=0, verbose_name='given on top'),
        ),
        migrations.CreateModel(
            name='StandDay',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('day', models.DateField(default=django.utils.timezone.localdate, verbose_name='day')),
                ('float_cents', models.BigIntegerField(verbose_name='float')),
                ('float_pieces', models.JSONField(blank=True, default=dict)),
                ('note', models.CharField(blank=True, max_length=300, verbose_name='note')),
                ('opened_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('idempotency_key', models.CharField(max_length=100, unique=True)),
                ('opened_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='stand_days', to='inventory.place')),
            ],
            options={
                'verbose_name': 'stand day',
                'verbose_name_plural': 'stand days',
                'ordering': ['-day', 'place__name'],
            },
        ),
        migrations.CreateModel(
            name='StandCash',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('undone_on', models.DateField(blank=True, null=True)),
                ('undone_reason', models.CharField(blank=True, max_length=300, verbose_name='reason')),
                ('kind', models.CharField(choices=[('change', 'change fetched from the cash box'), ('other_in', 'other cash put in'), ('to_box', 'taken to the cash box'), ('spent', 'paid from the drawer'), ('tips', 'tips taken out'), ('other_out', 'other cash taken out')], max_length=12, verbose_name='what')),
                ('cents', models.BigIntegerField(verbose_name='amount')),
                ('text', models.CharField(blank=True, max_length=200, verbose_name='reason')),
                ('moved_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('idempotency_key', models.CharField(max_length=100, unique=True)),
                ('expense', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stand_cash', to='billing.expense')),
                ('money_move', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stand_cash', to='billing.moneymove')),
                ('recorded_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('undone_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('stand_day', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='cash', to='billing.standday')),
            ],
            options={
                'verbose_name': 'cash in or out at a stand',
                'verbose_name_plural': 'cash in and out at stands',
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='StandDayClose',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('undone_on', models.DateField(blank=True, null=True)),
                ('undone_reason', models.CharField(blank=True, max_length=300, verbose_name='reason')),
                ('idempotency_key', models.CharField(max_length=100, unique=True)),
                ('closed_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('counted_cents', models.BigIntegerField(verbose_name='cash counted')),
                ('counted_pieces', models.JSONField(blank=True, default=dict)),
                ('float_cents', models.BigIntegerField()),
                ('sold_cents', models.BigIntegerField()),
                ('on_top_cents', models.BigIntegerField()),
                ('given_back_cents', models.BigIntegerField()),
                ('in_cents', models.BigIntegerField()),
                ('out_cents', models.BigIntegerField()),
                ('expected_cents', models.BigIntegerField()),
                ('takings', models.JSONField(blank=True, default=dict)),
                ('note', models.CharField(blank=True, max_length=300, verbose_name='note')),
                ('counted_with', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stand_closes', to='billing.cashcount')),
                ('entry', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stand_day_close', to='billing.entry')),
                ('recorded_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='who')),
                ('stand_day', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='closes', to='billing.standday')),
                ('undo_entry', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stand_day_close_undone', to='billing.entry')),
                ('undone_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'close of a stand day',
                'verbose_name_plural': 'closes of stand days',
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='StandLateCash',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('cents', models.BigIntegerField()),
                ('cash_count', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='late_cash', to='billing.cashcount')),
                ('close', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='late_cash', to='billing.standdayclose')),
                ('entry', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='stand_late_cash', to='billing.entry')),
                ('sale', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='late_cash', to='billing.standsale')),
                ('undo_entry', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stand_late_cash_undone', to='billing.entry')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.AddConstraint(
            model_name='standday',
            constraint=models.UniqueConstraint(fields=('place', 'day'), name='stand_day_is_once'),
        ),
        migrations.AddConstraint(
            model_name='standday',
            constraint=models.CheckConstraint(condition=models.Q(('float_cents__gte', 0)), name='stand_day_float_gte_0'),
        ),
        migrations.AddConstraint(
            model_name='standcash',
            constraint=models.CheckConstraint(condition=models.Q(('cents__gt', 0)), name='stand_cash_cents_gt_0'),
        ),
        migrations.AddConstraint(
            model_name='standdayclose',
            constraint=models.UniqueConstraint(condition=models.Q(('undone_on', None)), fields=('stand_day',), name='stand_day_closed_once'),
        ),
        migrations.AddConstraint(
            model_name='standdayclose',
            constraint=models.CheckConstraint(condition=models.Q(('counted_cents__gte', 0)), name='stand_day_counted_gte_0'),
        ),
        migrations.AddConstraint(
            model_name='standdayclose',
            constraint=models.CheckConstraint(condition=models.Q(('expected_cents', django.db.models.expressions.CombinedExpression(django.db.models.expressions.CombinedExpression(django.db.models.expressions.CombinedExpression(django.db.models.expressions.CombinedExpression(django.db.models.expressions.CombinedExpression(models.F('float_cents'), '+', models.F('sold_cents')), '+', models.F('on_top_cents')), '+', models.F('in_cents')), '-', models.F('given_back_cents')), '-', models.F('out_cents')))), name='stand_day_expected_adds_up'),
        ),
        migrations.AddConstraint(
            model_name='standlatecash',
            constraint=models.UniqueConstraint(fields=('close', 'sale'), name='stand_late_cash_is_once'),
        ),
        migrations.AddConstraint(
            model_name='standlatecash',
            constraint=models.UniqueConstraint(fields=('cash_count', 'sale'), name='stand_late_cash_of_count_is_once'),
        ),
        migrations.AddConstraint(
            model_name='standlatecash',
            constraint=models.CheckConstraint(condition=models.Q(('close', None), ('cash_count', None), _connector='XOR'), name='stand_late_cash_of_one_count'),
        ),
        migrations.AddConstraint(
            model_name='standlatecash',
            constraint=models.CheckConstraint(condition=models.Q(('cents', 0), _negated=True), name='stand_late_cash_not_0'),
        ),
    ]
