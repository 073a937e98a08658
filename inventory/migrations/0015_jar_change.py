"""Jars that are labelled later, relabelled, emptied or put in gift boxes, and jars that came back."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0014_goods'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ChangedPieces',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('pieces', models.PositiveIntegerField()),
                ('grams', models.BigIntegerField()),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='JarChange',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('act', models.CharField(choices=[('label', 'labelled'), ('relabel', 'relabelled'), ('empty', 'emptied'), ('box', 'put in gift boxes'), ('unbox', 'taken out of gift boxes')], max_length=8)),
                ('pieces', models.BigIntegerField()),
                ('loss_grams', models.BigIntegerField(default=0)),
                ('labour_minutes', models.PositiveIntegerField(blank=True, null=True)),
                ('labour_cents', models.BigIntegerField(blank=True, null=True)),
                ('parts_cents', models.BigIntegerField(blank=True, null=True)),
                ('cost_cents', models.BigIntegerField(blank=True, null=True)),
                ('cents_before', models.BigIntegerField(blank=True, null=True)),
                ('note', models.CharField(blank=True, max_length=300, verbose_name='note')),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='ReturnedJars',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('pieces', models.PositiveIntegerField()),
                ('reason', models.CharField(max_length=300, verbose_name='where they were, and why they came back')),
                ('decision', models.CharField(blank=True, choices=[('spoiled', 'written off as spoiled'), ('released', 'released')], max_length=8)),
                ('decision_reason', models.CharField(blank=True, max_length=300)),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.RemoveConstraint(
            model_name='lotparent',
            name='lot_parent_grams_gt_0',
        ),
        migrations.AlterField(
            model_name='place',
            name='kind',
            field=models.CharField(choices=[('tank', 'tank'), ('drum', 'drum'), ('pail', 'pail'), ('tote', 'tote'), ('shelf', 'shelf'), ('stand', 'stand'), ('van', 'van'), ('harvest', 'harvest'), ('supplier', 'supplier'), ('owner', 'owners of honey kept here'), ('customer', 'customers'), ('packing', 'packing line'), ('filling_loss', 'filling loss'), ('broken', 'broken'), ('spoiled', 'spoiled'), ('own_use', 'own use'), ('given_away', 'given away'), ('count_difference', 'count difference'), ('returned', 'returned goods')], max_length=20, verbose_name='kind'),
        ),
        migrations.AlterField(
            model_name='posting',
            name='kind',
            field=models.CharField(choices=[('extraction', 'extraction'), ('purchase', 'honey bought'), ('owner_receipt', 'received for its owner'), ('owner_return', 'handed back to its owner'), ('comb_harvest', 'comb harvest'), ('transfer', 'transfer'), ('blend', 'blend'), ('drum_fill', 'drum filled'), ('bottling', 'bottling'), ('comb_cut', 'comb cut'), ('labelling', 'labelling'), ('emptying', 'jars emptied'), ('boxing', 'gift boxes put together'), ('unboxing', 'gift boxes taken apart'), ('part_receipt', 'parts received'), ('goods_receipt', 'goods received'), ('goods_made', 'goods made'), ('count', 'count'), ('breakage', 'breakage'), ('spoilage', 'spoilage'), ('own_use', 'own use'), ('gift', 'gift'), ('sale', 'sale'), ('return', 'return'), ('reversal', 'undo')], max_length=20, verbose_name='kind'),
        ),
        migrations.AddConstraint(
            model_name='lotparent',
            constraint=models.CheckConstraint(condition=models.Q(('grams__gte', 0)), name='lot_parent_grams_gte_0'),
        ),
        migrations.AddField(
            model_name='changedpieces',
            name='lot',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='changed_pieces', to='inventory.lot'),
        ),
        migrations.AddField(
            model_name='jarchange',
            name='changed_by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='jarchange',
            name='lot',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='changes', to='inventory.lot'),
        ),
        migrations.AddField(
            model_name='jarchange',
            name='posting',
            field=models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='jar_change', to='inventory.posting'),
        ),
        migrations.AddField(
            model_name='changedpieces',
            name='change',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='changed', to='inventory.jarchange'),
        ),
        migrations.AddField(
            model_name='returnedjars',
            name='decided',
            field=models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='decided_return', to='inventory.posting'),
        ),
        migrations.AddField(
            model_name='returnedjars',
            name='decided_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='returnedjars',
            name='lot',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='returned', to='inventory.lot'),
        ),
        migrations.AddField(
            model_name='returnedjars',
            name='set_aside',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='returned', to='inventory.posting'),
        ),
        migrations.AddField(
            model_name='returnedjars',
            name='set_aside_by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddConstraint(
            model_name='jarchange',
            constraint=models.CheckConstraint(condition=models.Q(('loss_grams__gte', 0), ('pieces__gt', 0)), name='jar_change_pieces_gt_0'),
        ),
        migrations.AddConstraint(
            model_name='changedpieces',
            constraint=models.UniqueConstraint(fields=('change', 'lot'), name='changed_pieces_lot_is_one'),
        ),
        migrations.AddConstraint(
            model_name='changedpieces',
            constraint=models.CheckConstraint(condition=models.Q(('grams__gte', 0), ('pieces__gt', 0)), name='changed_pieces_gt_0'),
        ),
        migrations.AddConstraint(
            model_name='returnedjars',
            constraint=models.CheckConstraint(condition=models.Q(('pieces__gt', 0)), name='returned_jars_pieces_gt_0'),
        ),
        migrations.AddConstraint(
            model_name='returnedjars',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('decided__isnull', True), ('decided_by__isnull', True), ('decision', '')), models.Q(('decided__isnull', False), ('decided_by__isnull', False), ('decision', 'spoiled')), models.Q(('decided__isnull', False), ('decided_by__isnull', False), ('decision', 'released'), models.Q(('decision_reason', ''), _negated=True)), _connector='OR'), name='returned_jars_release_has_a_reason'),
        ),
    ]
